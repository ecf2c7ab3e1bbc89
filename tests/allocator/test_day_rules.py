"""The hard rules of a day, one by one, and what is left of a round where some are lifted."""

import pytest

from server.allocator.day_rules import Rule, all_rules, choices_under, round_rules, who_is_never_there
from server.allocator.problem import DayProblem, Pilot

NAMES = ("Wren", "Rook", "Coot", "Otter", "Sorrel")


def day_of(*own, **wishes):
    pilots = tuple(
        Pilot(name, **{"channels_mhz": (5700, 5800), **one}) for name, one in zip(NAMES, own, strict=False)
    )
    return DayProblem(pilots, **wishes)


def words(day, kind):
    return [rule.words for rule in all_rules(day) if rule.kind == kind]


def without(day, *kinds):
    return [rule for rule in all_rules(day) if rule.kind not in kinds]


def test_what_holds_for_everybody_comes_last_with_its_numbers():
    day = day_of(*[{}] * 5, aircraft=2, minimum_spacing_mhz=37, rounds=2)
    assert [rule.words for rule in all_rules(day)[5:]] == [
        "No two pilots of a heat are closer than 37 MHz",
        "At most 2 fly at once",
        "A round has 3 heats, and there are 2 rounds",
        "Everybody keeps one channel all day",
    ]


def test_one_round_has_no_channel_to_keep_and_no_spacing_is_no_rule():
    assert [rule.kind for rule in all_rules(day_of({}, minimum_spacing_mhz=0))] == [
        "tunes",
        "capacity",
        "heats",
    ]
    assert words(day_of({}, {}), "heats") == ["There is 1 heat"]
    assert words(day_of({}, {}, aircraft=1), "heats") == ["There are 2 heats"]
    assert words(day_of({}, rounds=3), "heats") == ["A round has 1 heat, and there are 3 rounds"]


def test_one_heat_is_one_round_of_any_size():
    day = day_of({}, {}, one_heat=True, rounds=3)
    assert [rule.words for rule in all_rules(day)[2:]] == [
        "No two pilots of a heat are closer than 20 MHz",
        "Everybody flies in one heat",
    ]


def test_gear_pins_and_bans_are_rules_of_their_own():
    day = day_of({"pin_mhz": (5800, 5700)}, {"channels_mhz": ()}, bans_mhz=(5800, 5917))
    assert words(day, "tunes") == [
        "Wren can use only 5700 or 5800 MHz",
        "Rook can use no channel of this day",
    ]
    assert words(day, "pin") == ["Wren is pinned to 5700 or 5800 MHz"]
    assert words(day, "ban") == ["5800 MHz is out of use today"]


def test_wishes_between_pilots_are_one_rule_a_pair_whoever_names_whom():
    day = day_of(
        {"apart": frozenset({"Rook", "Wren", "Stranger"}), "together": frozenset({"Coot"})},
        {"apart": frozenset({"Wren"})},
        {"together": frozenset({"Wren"}), "spotter": "Rook"},
    )
    assert [(rule.rows, rule.words) for rule in all_rules(day) if rule.kind == "apart"] == [
        ((0, 1), "Wren and Rook never share a heat"),
        ((1, 2), "Rook spots for Coot"),
    ]
    assert [(rule.rows, rule.words) for rule in all_rules(day) if rule.kind == "together"] == [
        ((0, 2), "Wren and Coot always fly in the same heat")
    ]


def test_who_spots_and_is_kept_apart_by_a_wish_is_told_by_the_wish():
    assert words(day_of({"spotter": "Rook", "apart": frozenset({"Rook"})}, {}), "apart") == [
        "Wren and Rook never share a heat"
    ]
    assert words(day_of({"spotter": "Rook"}, {"apart": frozenset({"Wren"})}), "apart") == [
        "Wren and Rook never share a heat"
    ]
    assert words(day_of({}, {"spotter": "Wren"}), "apart") == ["Wren spots for Rook"]


@pytest.mark.parametrize(
    ("own", "kinds"),
    [
        ({"after": 1}, {"after": "Wren is there only after heat 1"}),
        ({"after": 0}, {}),
        ({"before": 4}, {"before": "Wren is there only before heat 4"}),
        ({"before": 5}, {}),
        ({"heat": 4}, {"heat": "Wren is set for heat 4"}),
        ({"heat": 1}, {"heat": "Wren is set for heat 1"}),
        ({"heat": 5}, {}),
        ({"heat": 0}, {}),
    ],
)
def test_presence_and_set_heats_are_rules_where_the_day_has_such_heats(own, kinds):
    day = day_of(own, {}, aircraft=1, rounds=2)
    found = {rule.kind: rule.words for rule in all_rules(day) if rule.kind in ("after", "before", "heat")}
    assert found == kinds


def test_given_heats_know_gear_spacing_and_who_may_not_meet():
    day = day_of(
        {"together": frozenset({"Rook"}), "after": 1, "before": 1, "heat": 1, "apart": frozenset({"Coot"})},
        {},
        {},
        heats_given=(("Rook", "Wren"), (), ("Coot",)),
    )
    assert [(rule.kind, rule.rows, rule.number, rule.words) for rule in all_rules(day)[3:]] == [
        ("apart", (0, 2), 0, "Wren and Coot never share a heat"),
        ("given", (0, 1), 1, "Rook and Wren fly in heat 1"),
        ("given", (2,), 3, "Coot flies in heat 3"),
        ("spacing", (), 0, "No two pilots of a heat are closer than 20 MHz"),
        ("channel", (), 0, "Everybody keeps one channel all day"),
    ]


def test_a_lifted_rule_is_absent_and_all_others_stay():
    day = day_of(
        {"apart": frozenset({"Rook"}), "heat": 2},
        {"together": frozenset({"Coot"})},
        {},
        aircraft=2,
    )
    full = round_rules(day)
    assert (full.capacity, full.spacing_mhz, full.choices) == (2, 20, [(5700, 5800)] * 3)
    assert full.apart.sum() == full.together.sum() == 2
    assert full.allowed.tolist() == [[False, True], [True, True], [True, True]]
    assert round_rules(day, without(day, "capacity")).capacity == 3
    assert round_rules(day, without(day, "spacing")).spacing_mhz == 0
    assert round_rules(day, without(day, "tunes")).choices == [None] * 3
    assert not round_rules(day, without(day, "apart")).apart.any()
    assert not round_rules(day, without(day, "together")).together.any()
    assert round_rules(day, without(day, "heat")).allowed.all()


def test_together_is_passed_on_by_those_who_fly_in_the_round():
    chain = [{"together": frozenset({"Rook"})}, {"together": frozenset({"Coot"})}, {}]
    assert round_rules(day_of(*chain, aircraft=3)).together.sum() == 6
    absent = [chain[0], {**chain[1], "after": 1}, chain[2]]
    assert not round_rules(day_of(*absent, aircraft=3, rounds=2)).together.any()


@pytest.mark.parametrize(
    ("lifted", "left"),
    [
        ((), (5700,)),
        (("tunes",), (5700, 5900)),
        (("pin",), (5700, 5800)),
        (("ban",), (5700,)),
        (("tunes", "pin"), None),
        (("tunes", "ban"), (5700, 5860, 5900)),
    ],
)
def test_channels_are_what_gear_pin_and_bans_leave(lifted, left):
    day = day_of(
        {"channels_mhz": (5800, 5700), "pin_mhz": (5900, 5700, 5860)},
        bans_mhz=(5860,),
    )
    assert choices_under(day, 0, without(day, *lifted)) == left


def test_a_round_is_that_of_its_own_heats():
    day = day_of({"after": 2}, {"before": 4}, {"heat": 3}, aircraft=2, rounds=2)
    first, second = round_rules(day), round_rules(day, number=2)
    assert first.choices == [None, (5700, 5800), (5700, 5800)]
    assert first.allowed.tolist() == [[True, True], [True, True], [True, True]]
    assert second.choices == [(5700, 5800)] * 3
    assert second.allowed.tolist() == [[True, True], [True, False], [True, False]]


def test_a_heat_more_at_the_end_of_a_round_is_for_those_who_are_there_then():
    own = ({"after": 1}, {"after": 2}, {"before": 2}, {"before": 3}, {"heat": 1})
    day = day_of(*own, aircraft=3, rounds=2)
    kept = without(day, "heats")
    more = round_rules(day, kept).allowed[:, 2:]
    assert more.shape == (5, 5)
    # Rook comes after the round and binds nobody in it.
    assert more.all(axis=1).tolist() == [True, True, False, True, False]
    assert more.any(axis=1).tolist() == [True, True, False, True, False]
    assert round_rules(day, [rule for rule in kept if rule.kind != "before"]).allowed[2, 2:].all()
    late = round_rules(day, kept, number=2).allowed
    assert late[1].tolist() == [True] * 7
    assert late[4, 2:].all()


def test_who_comes_after_the_last_heat_or_left_before_the_first_is_never_there():
    day = day_of({"after": 4}, {"after": 3}, {"before": 1}, {"after": 2, "before": 3}, aircraft=2, rounds=2)
    everything = all_rules(day)
    assert who_is_never_there(day, everything) == [0, 2, 3]
    assert who_is_never_there(day, without(day, "after")) == [2]
    assert who_is_never_there(day, without(day, "before")) == [0]
    assert who_is_never_there(day, without(day, "heats")) == [2, 3]
    assert who_is_never_there(
        day_of({"after": 1}, one_heat=True, rounds=3), [Rule("after", (0,)), Rule("heats")]
    )
