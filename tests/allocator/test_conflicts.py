"""Why no plan exists: sets of rules that conflict, and in which no rule is idle, judged by enumeration."""

import itertools
import random

import pytest

from server.allocator.conflicts import all_rules, can_hold, find_conflicts, find_lasting_conflict, round_rules
from server.allocator.feasibility import UndecidedError
from server.allocator.problem import DayProblem, Pilot

NAMES = ("Wren", "Rook", "Coot", "Otter", "Sorrel")


def first_conflict(day):
    return next(iter(find_conflicts(day)), None)


def tight_day(seed):
    """Up to five pilots of few channels with many wishes; more often than not nothing can be planned."""
    dice = random.Random(seed)
    names = NAMES[: dice.randint(2, 5)]
    aircraft = dice.randint(1, 3)
    heats = -(-len(names) // aircraft)

    def sometimes(share, value):
        return value if dice.random() < share else None

    pilots = tuple(
        Pilot(
            name,
            tuple(sorted(dice.sample((5700, 5710, 5730, 5760), dice.randint(1, 2)))),
            pin_mhz=sometimes(0.1, (5700,)) or (),
            apart=sometimes(0.25, frozenset({dice.choice(names)})) or frozenset(),
            together=sometimes(0.3, frozenset({dice.choice(names)})) or frozenset(),
            spotter=sometimes(0.1, dice.choice(names)),
            after=sometimes(0.1, dice.randint(1, 2 * heats + 1)),
            before=sometimes(0.1, dice.randint(1, heats + 1)),
            heat=sometimes(0.2, dice.randint(1, heats + 1)),
        )
        for name in names
    )
    return DayProblem(pilots, aircraft=aircraft, rounds=2, bans_mhz=(5760,) if dice.random() < 0.2 else ())


def presence(pilot, heats):
    """Numbers of those heats that a pilot is there for."""
    return [
        number
        for number in heats
        if (pilot.after is None or number > pilot.after) and (pilot.before is None or number < pilot.before)
    ]


def keeps_all(day, rules):
    """Whether some first round keeps these rules: every way to fly, every way to tune, one rule at a time."""
    count = len(day.pilots)
    heats = range(1, -(-count // day.aircraft) + 1)
    later = range(1, len(heats) * day.rounds + 1)
    misses = {
        row for row, pilot in enumerate(day.pilots) if not presence(pilot, heats) and presence(pilot, later)
    }
    kinds = [(rule.kind, rule.rows) for rule in rules]

    def fits(heat_of):
        for kind, rows in kinds:
            if kind == "window" and rows[0] not in misses:
                pilot, number = day.pilots[rows[0]], heat_of[rows[0]]
                if number not in presence(pilot, heats) or (pilot.heat in heats and pilot.heat != number):
                    return False
            if kind == "apart" and heat_of[rows[0]] == heat_of[rows[1]]:
                return False
            if kind == "together" and heat_of[rows[0]] != heat_of[rows[1]]:
                return False
        largest = max(heat_of.count(number) for number in heats)
        return ("capacity", ()) not in kinds or largest <= day.aircraft

    def tunes(members):
        bound = [row for row in members if ("tunes", (row,)) in kinds and row not in misses]
        choices = [
            [
                mhz
                for mhz in day.pilots[row].channels_mhz
                if mhz not in day.bans_mhz and (not day.pilots[row].pin_mhz or mhz in day.pilots[row].pin_mhz)
            ]
            for row in bound
        ]
        least = day.minimum_spacing_mhz if ("spacing", ()) in kinds else 0
        return any(
            all(abs(a - b) >= least for a, b in itertools.combinations(mhz, 2))
            for mhz in itertools.product(*choices)
        )

    return any(
        fits(heat_of)
        and all(tunes([row for row in range(count) if heat_of[row] == number]) for number in heats)
        for heat_of in itertools.product(heats, repeat=count)
    )


TIGHT_DAYS = tuple(seed for seed in range(90) if not keeps_all(tight_day(seed), all_rules(tight_day(seed))))[
    :40
]


def test_there_are_enough_days_that_cannot_be_planned():
    assert len(TIGHT_DAYS) >= 30


@pytest.mark.parametrize("seed", TIGHT_DAYS)
def test_rules_of_a_conflict_cannot_hold_and_without_any_one_of_them_they_can(seed):
    day = tight_day(seed)
    conflicts = find_conflicts(day)
    assert conflicts
    for conflict in conflicts:
        rules = [rule for rule in all_rules(day) if rule.words in conflict.rules]
        assert len(rules) == len(conflict.rules)
        assert not keeps_all(day, rules)
        for lifted in rules:
            assert keeps_all(day, [rule for rule in rules if rule is not lifted]), f"idle: {lifted.words}"


@pytest.mark.parametrize("seed", range(60))
def test_a_conflict_is_named_just_where_the_rules_cannot_hold(seed):
    day = tight_day(seed)
    assert (first_conflict(day) is None) == can_hold(day) == keeps_all(day, all_rules(day))


def test_rules_about_one_pilot_stand_alone_where_they_suffice():
    conflict = first_conflict(DayProblem((Pilot("Wren", ()), Pilot("Rook", (5700,)), Pilot("Coot", (5800,)))))
    assert conflict is not None
    assert conflict.rules == ("Wren can use no channel of this day",)
    assert conflict.explanation == "Wren can use no channel of this day."
    assert conflict.cures == ("Give Wren other gear",)


def test_two_of_one_channel_who_fly_together_are_told_in_plain_words():
    pilots = (
        Pilot("Otter", (5800,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800, 5810), pin_mhz=(5800, 5810)),
        Pilot("Wren", (5658, 5732, 5806, 5880)),
    )
    conflict = first_conflict(DayProblem(pilots, aircraft=2))
    assert conflict is not None
    assert conflict.rules == (
        "Otter can use only 5800 MHz",
        "Rook can use only 5800 or 5810 MHz",
        "Otter and Rook always fly in the same heat",
        "No two pilots of a heat are closer than 20 MHz",
    )
    assert conflict.explanation == (
        "These cannot all hold: Otter can use only 5800 MHz; Rook can use only 5800 or 5810 MHz; "
        "Otter and Rook always fly in the same heat; no two pilots of a heat are closer than 20 MHz."
    )
    assert conflict.cures == (
        "Give Otter other gear",
        "Lift Rook's pin",
        "Lift that Otter and Rook always fly in the same heat",
        "Allow a smaller spacing",
    )


def test_a_cure_that_serves_two_rules_is_named_once():
    pilots = (
        Pilot("Wren", (5800,), heat=1, together=frozenset({"Rook"})),
        Pilot("Rook", (5700,), heat=2),
        Pilot("Coot", (5900,)),
    )
    conflict = first_conflict(DayProblem(pilots, aircraft=2))
    assert conflict is not None
    assert conflict.cures == (
        "Lift that Wren and Rook always fly in the same heat",
        "Let Wren fly in any heat",
        "Let Rook fly in any heat",
    )


def test_other_conflicts_follow_in_turn_and_what_binds_everybody_may_come_again():
    pilots = (
        Pilot("Wren", (5800,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,)),
        Pilot("Coot", (5700,), together=frozenset({"Otter"})),
        Pilot("Otter", (5710,)),
        Pilot("Sorrel", ()),
    )
    conflicts = find_conflicts(DayProblem(pilots, aircraft=3))
    assert [conflict.rules for conflict in conflicts] == [
        ("Sorrel can use no channel of this day",),
        (
            "Coot can use only 5700 MHz",
            "Otter can use only 5710 MHz",
            "Coot and Otter always fly in the same heat",
            "No two pilots of a heat are closer than 20 MHz",
        ),
        (
            "Wren can use only 5800 MHz",
            "Rook can use only 5800 MHz",
            "Wren and Rook always fly in the same heat",
            "No two pilots of a heat are closer than 20 MHz",
        ),
    ]


def test_a_long_list_of_conflicts_ends_after_three():
    pilots = tuple(Pilot(f"P{number}", ()) for number in range(8))
    assert len(find_conflicts(DayProblem(pilots))) == 3


@pytest.mark.parametrize(
    ("channels", "words"),
    [
        ((), "Wren can use no channel of this day"),
        ((5800,), "Wren can use only 5800 MHz"),
        ((5700, 5800, 5900), "Wren can use only 5700 or 5800 or 5900 MHz"),
        ((5700, 5720, 5800, 5900), "Wren can use only 4 channels, 5700 to 5900 MHz"),
    ],
)
def test_channels_are_listed_up_to_three(channels, words):
    assert all_rules(DayProblem((Pilot("Wren", channels),)))[0].words == words


@pytest.mark.parametrize(
    ("own", "words"),
    [
        ({"heat": 2}, "Wren flies only in heat 2"),
        ({"after": 1}, "Wren flies only in heat 2, 3"),
        ({"before": 2}, "Wren flies only in heat 1"),
        ({"after": 3, "before": 4}, "Wren may fly in no heat"),
    ],
)
def test_a_window_is_told_by_the_heats_that_remain(own, words):
    others = tuple(Pilot(name, (5700, 5800)) for name in NAMES[1:3])
    day = DayProblem((Pilot("Wren", (5700,), **own), *others), aircraft=1)
    windows = [rule for rule in all_rules(day) if rule.kind == "window"]
    assert [(rule.rows, rule.words, rule.cure) for rule in windows] == [
        ((0,), words, "Let Wren fly in any heat")
    ]


@pytest.mark.parametrize("own", [{}, {"after": 3}, {"heat": 4}])
def test_who_may_fly_anywhere_or_comes_for_a_later_round_has_no_window(own):
    others = tuple(Pilot(name, (5700, 5800)) for name in NAMES[1:3])
    day = DayProblem((Pilot("Wren", (5700,), **own), *others), aircraft=1, rounds=2)
    assert not [rule for rule in all_rules(day) if rule.kind == "window"]
    assert first_conflict(day) is None


def test_what_holds_for_everybody_is_told_with_its_numbers():
    day = DayProblem(tuple(Pilot(name, (5700,)) for name in NAMES), aircraft=2, minimum_spacing_mhz=37)
    spacing, capacity = all_rules(day)[-2:]
    assert (spacing.words, spacing.cure) == (
        "No two pilots of a heat are closer than 37 MHz",
        "Allow a smaller spacing",
    )
    assert (capacity.words, capacity.cure) == (
        "At most 2 fly at once, in 3 heats a round",
        "Plan one heat more",
    )


def test_a_pilot_who_is_there_for_no_heat_of_the_day_is_a_conflict():
    pilots = (Pilot("Wren", (5700,), after=4), Pilot("Rook", (5800,)))
    day = DayProblem(pilots, aircraft=1, rounds=2)
    conflict = first_conflict(day)
    assert conflict is not None
    assert conflict.rules == ("Wren may fly in no heat",)
    assert first_conflict(DayProblem(pilots, aircraft=1, rounds=3)) is None


def test_one_heat_has_one_round_however_many_are_asked_for():
    pilots = (Pilot("Wren", (5700,), after=1), Pilot("Rook", (5800,)))
    assert first_conflict(DayProblem(pilots, one_heat=True, rounds=3)) is not None


def test_who_misses_the_first_round_is_in_nobodys_way_there():
    # Both have one channel; Wren comes when the first round is over.
    pilots = (Pilot("Wren", (5800,), after=1, together=frozenset({"Rook"})), Pilot("Rook", (5800,)))
    assert first_conflict(DayProblem(pilots, aircraft=2, rounds=2)) is None


def test_together_is_passed_on_and_each_pair_can_be_lifted():
    pilots = (
        Pilot("Wren", (5700,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,), together=frozenset({"Coot"})),
        Pilot("Coot", (5900,), apart=frozenset({"Wren"})),
    )
    conflict = first_conflict(DayProblem(pilots, aircraft=3))
    assert conflict is not None
    assert "Wren and Coot never share a heat" in conflict.rules


def test_a_lifted_rule_is_absent_and_all_others_stay():
    pilots = (
        Pilot("Wren", (5700,), apart=frozenset({"Rook"}), heat=2),
        Pilot("Rook", (5800,), together=frozenset({"Coot"})),
        Pilot("Coot", (5900,)),
    )
    day = DayProblem(pilots, aircraft=2)
    everything = all_rules(day)

    def without(kind):
        return round_rules(day, [rule for rule in everything if rule.kind != kind])

    full = round_rules(day)
    assert (full.capacity, full.spacing_mhz, full.choices) == (2, 20, [(5700,), (5800,), (5900,)])
    assert full.apart.sum() == full.together.sum() == 2
    assert full.allowed.tolist() == [[False, True], [True, True], [True, True]]
    assert without("capacity").capacity == 3
    assert without("spacing").spacing_mhz == 0
    assert without("tunes").choices == [None] * 3
    assert not without("apart").apart.any()
    assert not without("together").together.any()
    assert without("window").allowed.all()
    assert without("window").apart.sum() == 2


def test_a_pair_that_is_lifted_stays_together_through_a_third():
    pilots = (
        Pilot("Wren", (5700,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,), together=frozenset({"Coot"})),
        Pilot("Coot", (5900,)),
    )
    day = DayProblem(pilots, aircraft=3)
    ends = [rule for rule in all_rules(day) if rule.rows != (0, 2)]
    assert round_rules(day, ends).together.sum() == 6
    one_only = [rule for rule in all_rules(day) if rule.rows not in ((0, 2), (1, 2))]
    assert round_rules(day, one_only).together.sum() == 2


def test_a_pilot_who_has_left_before_the_first_heat_flies_in_none():
    day = DayProblem((Pilot("Wren", (5700,), before=1), Pilot("Rook", (5800,))), aircraft=1, rounds=2)
    assert first_conflict(day).rules == ("Wren may fly in no heat",)


def test_what_one_heat_more_would_not_cure_is_not_said_to_be():
    nothing = (Pilot("Wren", ()), Pilot("Rook", (5800,)))
    for wishes in ({"one_heat": True}, {"aircraft": 1}, {"aircraft": 2}):
        assert not first_conflict(DayProblem(nothing, **wishes)).is_cured_by_one_heat_more


def test_one_heat_may_hold_everybody():
    pilots = tuple(Pilot(name, (5700,)) for name in NAMES)
    assert round_rules(DayProblem(pilots, aircraft=2, one_heat=True)).capacity == 5


def test_a_conflict_that_is_not_decided_is_not_claimed(monkeypatch):
    def undecided(_rules):
        raise UndecidedError

    monkeypatch.setattr("server.allocator.conflicts.find_round", undecided)
    with pytest.raises(UndecidedError):
        first_conflict(DayProblem((Pilot("Wren", (5700,)),)))


def test_a_rule_whose_lifting_is_not_decided_stays_named(monkeypatch):
    answers = iter([None])

    def only_the_whole_is_decided(_rules):
        for answer in answers:
            return answer
        raise UndecidedError

    monkeypatch.setattr("server.allocator.conflicts.find_round", only_the_whole_is_decided)
    day = DayProblem((Pilot("Wren", ()), Pilot("Rook", (5700,))))
    conflict = first_conflict(day)
    assert conflict is not None
    assert conflict.rules == tuple(rule.words for rule in all_rules(day))


def test_given_heats_that_cannot_last_are_as_few_as_conflict():
    # Wren, Rook and Coot have two channels for three meetings; Otter and Sorrel are in nobody's way.
    pilots = (
        *(Pilot(name, (5700, 5800)) for name in NAMES[:3]),
        *(Pilot(name, (5658, 5732, 5806, 5880)) for name in NAMES[3:]),
    )
    heats = [("Otter", "Sorrel"), ("Wren", "Rook"), ("Rook", "Coot"), ("Wren", "Otter"), ("Coot", "Wren")]
    conflict = find_lasting_conflict(DayProblem(pilots), heats)
    assert conflict is not None
    assert conflict.rules == (
        "Heat 2 holds Wren, Rook",
        "Heat 3 holds Rook, Coot",
        "Heat 5 holds Coot, Wren",
        "Everybody keeps one channel all day",
        "No two pilots of a heat are closer than 20 MHz",
    )
    assert conflict.explanation.startswith("These cannot all hold: heat 2 holds Wren, Rook; heat 3")
    assert conflict.cures == ("Exchange pilots between these heats", "Allow a smaller spacing")


def test_given_heats_that_can_last_are_no_conflict():
    pilots = tuple(Pilot(name, (5700, 5800)) for name in NAMES)  # Sorrel is in no heat
    assert find_lasting_conflict(DayProblem(pilots), [("Wren", "Rook"), ("Rook", "Coot")]) is None
    assert find_lasting_conflict(DayProblem(pilots, minimum_spacing_mhz=101), [("Wren",), ("Rook",)]) is None


@pytest.mark.parametrize("seed", range(20))
def test_random_given_heats_conflict_by_enumeration_and_none_of_them_is_idle(seed):
    dice = random.Random(seed)
    pilots = tuple(Pilot(name, tuple(sorted(dice.sample((5700, 5710, 5730, 5760), 2)))) for name in NAMES)
    heats = [tuple(dice.sample(NAMES, dice.randint(2, 3))) for _ in range(4)]

    def can_last(numbers):
        return any(
            all(
                abs(mhz[NAMES.index(a)] - mhz[NAMES.index(b)]) >= 20
                for number in numbers
                for a, b in itertools.combinations(heats[number], 2)
            )
            for mhz in itertools.product(*(pilot.channels_mhz for pilot in pilots))
        )

    conflict = find_lasting_conflict(DayProblem(pilots), heats)
    assert (conflict is None) == can_last(range(4))
    if conflict is not None:
        named = [int(words.split()[1]) - 1 for words in conflict.rules[:-2]]
        assert not can_last(named)
        assert all(can_last([number for number in named if number != one]) for one in named)


def test_one_heat_more_is_offered_where_more_fly_at_once_than_their_gear_has_channels():
    r_only = tuple(Pilot(f"Pilot{number}", (5732, 5769, 5806, 5843)) for number in range(1, 13))
    conflict = first_conflict(DayProblem(r_only, aircraft=6))
    assert conflict.cures[0] == "Plan one heat more"
    assert conflict.is_cured_by_one_heat_more
    assert can_hold(DayProblem(r_only, aircraft=4))


def test_one_heat_more_is_not_offered_where_it_cures_nothing():
    one_channel = tuple(Pilot(f"Pilot{number}", (5800,)) for number in range(1, 13))
    conflict = first_conflict(DayProblem(one_channel, aircraft=6))
    assert "Plan one heat more" not in conflict.cures
    assert not conflict.is_cured_by_one_heat_more
