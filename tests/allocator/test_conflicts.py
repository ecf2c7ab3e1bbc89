"""Why no plan exists: sets of rules that conflict, and in which no rule is idle, judged by another solver."""

import pytest

from server.allocator import conflicts, holding
from server.allocator.conflicts import MOST_CONFLICTS, find_conflicts, irreducible
from server.allocator.day_rules import Rule, all_rules
from server.allocator.feasibility import UndecidedError
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import plan_day
from tests.allocator import whole_day_peer as peer
from tests.allocator.tight_days import tight_day, tight_given_day

R_BAND = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def rules_named(day, conflict):
    return [rule for rule in all_rules(day) if rule.words in conflict.rules]


def days_that_cannot_be_planned():
    """60 whole days and 30 days of given heats."""
    whole = [day for seed in range(100) if not peer.can_hold(day := tight_day(seed), all_rules(day))]
    given = [day for seed in range(80) if not peer.can_hold(day := tight_given_day(seed), all_rules(day))]
    return [*whole[:60], *given[:30]]


HOPELESS = days_that_cannot_be_planned()


def test_there_are_enough_days_that_cannot_be_planned():
    assert len(HOPELESS) == 90
    assert sum(day.rounds > 1 for day in HOPELESS) >= 30


@pytest.mark.parametrize("day", HOPELESS)
def test_rules_of_a_conflict_cannot_hold_and_any_proper_part_of_them_can(day):
    found = find_conflicts(day)
    assert found
    for conflict in found:
        rules = rules_named(day, conflict)
        assert len(rules) == len(conflict.rules)
        assert not peer.can_hold(day, rules)
        for lifted in rules:
            # Whatever is a smaller part yet has fewer rules still, so it holds too.
            left = [rule for rule in rules if rule is not lifted]
            assert peer.can_hold(day, left), f"idle: {lifted.words}"


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("make", [tight_day, tight_given_day])
def test_a_conflict_is_named_just_where_the_rules_cannot_hold(make, seed):
    day = make(seed)
    assert (not find_conflicts(day)) == peer.can_hold(day, all_rules(day))


def test_rules_about_one_pilot_stand_alone_where_they_suffice():
    day = DayProblem((Pilot("Wren", ()), Pilot("Rook", (5700,)), Pilot("Coot", (5800,))))
    (conflict,) = find_conflicts(day)
    assert conflict.rules == ("Wren can use no channel of this day",)
    assert conflict.explanation == "Wren can use no channel of this day."
    assert conflict.cures == ("Give Wren gear that can use 5700 MHz too",)
    assert not conflict.is_cured_by_one_heat_more


def test_two_of_one_channel_who_fly_together_are_told_in_plain_words():
    pilots = (
        Pilot("Otter", (5800,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,)),
        Pilot("Wren", (5658, 5880)),
    )
    (conflict,) = find_conflicts(DayProblem(pilots, aircraft=2))
    assert conflict.rules == (
        "Otter can use only 5800 MHz",
        "Rook can use only 5800 MHz",
        "Otter and Rook always fly in the same heat",
        "No two pilots of a heat are closer than 20 MHz",
    )
    assert conflict.explanation == (
        "Otter and Rook can use only 5800 MHz, and they always fly in the same heat."
    )


def test_more_of_one_band_than_the_heats_hold_are_cured_by_more_heats():
    day = DayProblem(tuple(Pilot(f"P{number}", R_BAND) for number in range(9)), aircraft=9)
    (conflict,) = find_conflicts(day)
    assert conflict.explanation == (
        "Nine pilots can use only 8 channels, 5658 to 5917 MHz, and the day has one heat."
    )
    assert conflict.cures == ("Plan one heat more, at most 8 at once",)
    assert conflict.is_cured_by_one_heat_more
    (remedy,) = conflict.remedies
    assert (remedy.kind, remedy.number, remedy.words) == ("more heats", 8, conflict.cures[0])


def test_other_conflicts_follow_in_turn_and_what_binds_everybody_may_come_again():
    pilots = (
        Pilot("Wren", (5800,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,)),
        Pilot("Coot", (5700,), together=frozenset({"Otter"})),
        Pilot("Otter", (5710,)),
        Pilot("Sorrel", ()),
    )
    found = find_conflicts(DayProblem(pilots, aircraft=3))
    assert {conflict.rules[0].split()[0] for conflict in found} == {"Wren", "Coot", "Sorrel"}
    assert sum("No two pilots of a heat are closer than 20 MHz" in one.rules for one in found) == 2


def test_a_long_list_of_conflicts_ends_after_three():
    assert len(find_conflicts(DayProblem(tuple(Pilot(f"P{number}", ()) for number in range(8))))) == 3
    assert MOST_CONFLICTS == 3


def test_conflicts_that_would_be_told_alike_are_told_once():
    # 18 pilots of one channel in two heats of nine: six times three too many.
    pilots = tuple(Pilot(f"P{number:02}", (5800,), heat=1 + number // 9) for number in range(18))
    found = find_conflicts(DayProblem(pilots, aircraft=9))
    assert len({conflict.explanation for conflict in found}) == len(found)


def test_a_conflict_of_a_later_round_is_found():
    # Heats 3 and 4 are the second round; both are set for heat 3 and have one channel.
    pilots = (Pilot("Wren", (5800,), heat=3), Pilot("Rook", (5800,), heat=3), Pilot("Coot", (5700,)))
    assert find_conflicts(DayProblem(pilots, aircraft=2)) == ()
    (conflict,) = find_conflicts(DayProblem(pilots, aircraft=2, rounds=2))
    assert conflict.explanation == "Wren and Rook can use only 5800 MHz, and they are set for heat 3."
    assert conflict.cures[-2:] == ("Let Wren fly in any heat", "Let Rook fly in any heat")


def test_one_channel_all_day_is_a_rule_where_no_channel_lasts():
    # Wren meets Rook in the first round and Coot in the second, Rook and Coot in the third.
    pilots = (
        Pilot("Wren", (5700, 5800), heat=1),
        Pilot("Rook", (5700, 5800), heat=1),
        Pilot("Coot", (5700, 5800), heat=2),
    )
    assert find_conflicts(DayProblem(pilots, aircraft=2)) == ()
    heats = (("Wren", "Rook"), ("Wren", "Coot"), ("Rook", "Coot"))
    (conflict,) = find_conflicts(DayProblem(pilots, heats_given=heats))
    assert conflict.rules[3:] == (
        "Wren and Rook fly in heat 1",
        "Wren and Coot fly in heat 2",
        "Rook and Coot fly in heat 3",
        "No two pilots of a heat are closer than 20 MHz",
        "Everybody keeps one channel all day",
    )
    assert conflict.cures[0] == "Take Wren out of heat 1"


def test_rest_alone_never_forbids_a_day():
    pilots = tuple(Pilot(name, R_BAND, heat=heat) for name, heat in (("Wren", 2), ("Rook", 3), ("Coot", 1)))
    day = DayProblem(pilots, aircraft=1, rounds=2, rest_heats=5, time_limit_s=None)
    assert find_conflicts(day) == ()
    assert plan_day(day).heats


def test_who_misses_a_round_is_in_nobodys_way_there():
    # Both have one channel; Wren comes when the first round is over.
    pilots = (Pilot("Wren", (5800,), after=1, together=frozenset({"Rook"})), Pilot("Rook", (5800,), before=2))
    day = DayProblem(pilots, aircraft=2, rounds=2, time_limit_s=None)
    assert find_conflicts(day) == ()
    plan = plan_day(day)
    assert [[slot.callsign for slot in heat.slots] for heat in plan.heats] == [["Rook"], ["Wren"]]


def test_a_pair_that_is_together_through_a_third_conflicts_with_what_parts_them():
    pilots = (
        Pilot("Wren", (5700,), together=frozenset({"Rook"})),
        Pilot("Rook", (5800,), together=frozenset({"Coot"})),
        Pilot("Coot", (5900,), apart=frozenset({"Wren"})),
        Pilot("Otter", (5900,)),
    )
    (conflict,) = find_conflicts(DayProblem(pilots, aircraft=3))
    assert conflict.rules == (
        "Wren and Coot never share a heat",
        "Wren and Rook always fly in the same heat",
        "Rook and Coot always fly in the same heat",
    )


def test_of_several_explanations_that_without_gear_is_preferred():
    # Wren's and Rook's one channel would explain it too; that they must not meet says more.
    pilots = (
        Pilot("Wren", (5800,), together=frozenset({"Rook"}), apart=frozenset({"Rook"})),
        Pilot("Rook", (5800,)),
        Pilot("Coot", (5700,)),
    )
    first, *_ = find_conflicts(DayProblem(pilots, aircraft=2))
    assert first.rules == ("Wren and Rook never share a heat", "Wren and Rook always fly in the same heat")


def test_a_conflict_that_is_not_decided_is_not_claimed(monkeypatch):
    def undecided(*_):
        raise UndecidedError

    monkeypatch.setattr(conflicts, "can_hold", undecided)
    with pytest.raises(UndecidedError):
        find_conflicts(DayProblem((Pilot("Wren", (5700,)),)))


def test_a_rule_whose_lifting_is_not_decided_stays_named(monkeypatch):
    day = DayProblem((Pilot("Wren", ()), Pilot("Rook", (5700,))))
    rules = all_rules(day)

    def only_the_whole_is_decided(_problem, kept):
        if len(kept) < len(rules):
            raise UndecidedError
        return False

    monkeypatch.setattr(conflicts, "can_hold", only_the_whole_is_decided)
    assert irreducible(day, rules) == rules


def test_rules_come_in_their_usual_order_whichever_way_they_were_found():
    day = DayProblem((Pilot("Wren", (5800,), heat=1), Pilot("Rook", (5800,), heat=1)), aircraft=2)
    needed = irreducible(day, all_rules(day))
    assert [rule.kind for rule in needed] == ["tunes", "tunes", "heat", "heat", "spacing"]
    assert not holding.can_hold(day, needed)
    assert holding.can_hold(day, [Rule("spacing"), *needed[:1]])


def test_the_number_of_heats_is_named_only_where_more_would_do():
    pair = (Pilot("Wren", (5800,)), Pilot("Rook", (5800,)))
    (conflict,) = find_conflicts(DayProblem(pair, aircraft=2))
    assert conflict.rules[-1] == "There is 1 heat"
    together = (pair[0], Pilot("Rook", (5800,), together=frozenset({"Wren"})))
    (conflict,) = find_conflicts(DayProblem(together, aircraft=2))
    assert "There is 1 heat" not in conflict.rules
