"""Cures of a conflict: each that is named cures it, judged by an independent solver; a day as it then would be."""

from dataclasses import replace

import pytest

from server.allocator.conflicts import find_conflicts
from server.allocator.day_rules import all_rules
from server.allocator.problem import DayProblem, Pilot
from server.radio.site import Receiver, Site
from tests.allocator import whole_day_peer as peer
from tests.allocator.test_conflicts import HOPELESS, R_BAND

WISHES = {"unpin": "pin_mhz", "after": "after", "before": "before", "heat": "heat"}


def without(pilot, cure):
    """A pilot as a cure leaves them."""
    if pilot.callsign not in cure.callsigns:
        return pilot
    others = set(cure.callsigns)
    if cure.kind == "gear":
        return replace(pilot, channels_mhz=(*pilot.channels_mhz, cure.number))
    if cure.kind in ("apart", "spotter"):
        spotter = None if pilot.spotter in others else pilot.spotter
        return replace(pilot, apart=pilot.apart - others, spotter=spotter)
    if cure.kind == "together":
        return replace(pilot, together=pilot.together - others)
    if cure.kind in WISHES:
        return replace(pilot, **{WISHES[cure.kind]: () if cure.kind == "unpin" else None})
    return pilot


def cured(day, cure):
    """The day as a cure leaves it, told by its kind, number and callsigns alone."""
    after = day.with_pilots(tuple(without(pilot, cure) for pilot in day.pilots))
    if cure.kind in ("more heats", "more at once"):
        return replace(after, aircraft=cure.number, one_heat=False)
    if cure.kind == "lift ban":
        return replace(after, bans_mhz=tuple(mhz for mhz in day.bans_mhz if mhz != cure.number))
    if cure.kind == "spacing":
        return replace(after, minimum_spacing_mhz=cure.number)
    if cure.kind == "leave out":
        return day.with_pilots(tuple(pilot for pilot in day.pilots if pilot.callsign not in cure.callsigns))
    if cure.kind == "take out":
        heats = list(day.heats_given)
        heats[cure.number - 1] = tuple(name for name in heats[cure.number - 1] if name not in cure.callsigns)
        return replace(after, heats_given=tuple(heats))
    return after


def name_of(day, rule):
    """A rule by what it is about; a given heat is the same one with other pilots in it."""
    names = tuple(day.pilots[row].callsign for row in rule.rows)
    return rule.kind, rule.number, names if rule.kind != "given" else ()


def still_bind(day, after, conflict):
    """The rules of the conflict that the changed day still has, and all that binds everybody in it."""
    named = {name_of(day, rule) for rule in all_rules(day) if rule.words in conflict.rules}
    return [rule for rule in all_rules(after) if not rule.rows or name_of(after, rule) in named]


@pytest.mark.parametrize("day", HOPELESS)
def test_each_cure_that_is_named_cures_its_conflict(day):
    for conflict in find_conflicts(day):
        assert conflict.cures == tuple(cure.words for cure in conflict.remedies)
        assert len(set(conflict.cures)) == len(conflict.cures) > 0
        for cure in conflict.remedies:
            after = cured(day, cure)
            assert after != day
            assert peer.can_hold(after, still_bind(day, after, conflict)), cure.words


def cures_named(*pilots, **wishes):
    return [cure for conflict in find_conflicts(DayProblem(pilots, **wishes)) for cure in conflict.cures]


def words_of(kind, *pilots, **wishes):
    found = find_conflicts(DayProblem(pilots, **wishes))
    return [cure.words for conflict in found for cure in conflict.remedies if cure.kind == kind]


def test_more_heats_are_as_many_as_mend_the_whole_day():
    # For three of one channel in two heats three heats would do; for all five it takes five.
    five = tuple(Pilot(f"P{number}", (5800,)) for number in range(5))
    assert words_of("more heats", *five, aircraft=3) == ["Plan 3 heats more, at most 1 at once"]
    four_channels = tuple(Pilot(f"P{number}", R_BAND[:4]) for number in range(12))
    assert words_of("more heats", *four_channels, aircraft=6) == ["Plan one heat more, at most 5 at once"]


def test_where_no_number_of_heats_mends_the_day_it_is_the_first_that_mends_the_conflict():
    pilots = (*(Pilot(f"P{number}", (5800,)) for number in range(5)), Pilot("Wren", ()))
    assert words_of("more heats", *pilots, aircraft=3) == ["Plan one heat more, at most 2 at once"]


def test_more_at_once_goes_no_further_than_eight():
    def crowd(count):
        return tuple(Pilot(f"P{number}", R_BAND, heat=1) for number in range(count))

    others = tuple(Pilot(f"Q{number}", R_BAND) for number in range(8))
    assert words_of("more at once", *crowd(8), *others, aircraft=6) == ["Let 8 fly at once"]
    nine = (*(Pilot(f"P{number}", (5500 + 40 * number,), heat=1) for number in range(9)), *others)
    assert words_of("more at once", *nine, aircraft=8) == []


def test_a_pilots_own_gear_is_mended_by_a_channel_of_the_day():
    pair = frozenset({"Rook"})
    pilots = (
        Pilot("Wren", (5800,), together=pair),
        Pilot("Rook", (5800,)),
        Pilot("Coot", (5790, 5810, 5820)),
    )
    assert words_of("gear", *pilots, aircraft=3) == [
        "Give Wren gear that can use 5820 MHz too",
        "Give Rook gear that can use 5820 MHz too",
    ]


def test_gear_is_not_offered_where_the_day_has_no_channel_that_helps():
    pair = frozenset({"Rook"})
    pilots = (Pilot("Wren", (5800,), together=pair), Pilot("Rook", (5800,)))
    assert words_of("gear", *pilots, aircraft=2) == []


@pytest.mark.parametrize(("gap_mhz", "offered"), [(19, [19]), (10, [10]), (9, [])])
def test_a_smaller_spacing_is_offered_down_to_where_signals_overlap(gap_mhz, offered):
    # Two signals 10 MHz wide overlap below 10 MHz.
    pilots = (Pilot("Wren", (5800,)), Pilot("Rook", (5800 + gap_mhz,)))
    words = words_of("spacing", *pilots, aircraft=2)
    assert words == [f"Allow {mhz} MHz between two pilots of a heat" for mhz in offered]


def test_wider_signals_keep_a_wider_spacing():
    site = Site(receiver=Receiver(occupied_mhz=18))
    pilots = (Pilot("Wren", (5800,)), Pilot("Rook", (5815,)))
    assert words_of("spacing", *pilots, aircraft=2, site=site) == []


def test_the_widest_smaller_spacing_that_helps_is_offered():
    pilots = (Pilot("Wren", (5700, 5702)), Pilot("Rook", (5715, 5717)))
    assert words_of("spacing", *pilots, aircraft=2) == ["Allow 17 MHz between two pilots of a heat"]
    pilots = (*pilots, Pilot("Coot", (5730,)))
    assert words_of("spacing", *pilots, aircraft=3) == ["Allow 15 MHz between two pilots of a heat"]


def test_a_pin_and_a_ban_are_lifted_by_name():
    pilots = (Pilot("Wren", R_BAND, pin_mhz=(5658,)), Pilot("Rook", R_BAND))
    assert cures_named(*pilots, bans_mhz=(5658,)) == ["Lift Wren's pin", "Use 5658 MHz again"]


def test_a_spotter_is_replaced_and_a_wish_lifted_where_both_part_two_pilots():
    def pair(**own):
        wren = Pilot("Wren", R_BAND, together=frozenset({"Rook"}), **own)
        return wren, Pilot("Rook", R_BAND)

    assert words_of("spotter", *pair(spotter="Rook"), aircraft=2) == ["Let somebody else spot for Wren"]
    both = pair(spotter="Rook", apart=frozenset({"Rook"}))
    assert words_of("spotter", *both, aircraft=2) == [
        "Let somebody else spot for Wren, and let Wren and Rook share a heat"
    ]
    assert words_of("apart", *pair(apart=frozenset({"Rook"})), aircraft=2) == [
        "Let Wren and Rook share a heat"
    ]


def test_who_spot_for_each_other_are_both_named():
    pilots = (
        Pilot("Wren", R_BAND, spotter="Rook", together=frozenset({"Rook"})),
        Pilot("Rook", R_BAND, spotter="Wren"),
    )
    assert words_of("spotter", *pilots, aircraft=2) == ["Let somebody else spot for Wren and for Rook"]


def test_presence_is_cured_by_being_there():
    late = (Pilot("Wren", R_BAND, after=2), Pilot("Rook", R_BAND))
    assert cures_named(*late, aircraft=1) == ["Have Wren there from the first heat"]
    gone = (Pilot("Wren", R_BAND, before=1), Pilot("Rook", R_BAND))
    assert cures_named(*gone, aircraft=1) == ["Have Wren stay to the last heat"]


def test_of_many_cures_of_a_kind_three_are_named():
    pilots = tuple(Pilot(f"P{number}", R_BAND, heat=1) for number in range(5))
    others = tuple(Pilot(f"Q{number}", R_BAND) for number in range(7))
    assert words_of("heat", *pilots, *others, aircraft=4) == [
        f"Let P{number} fly in any heat" for number in range(3)
    ]


def test_a_pilot_is_taken_out_of_a_given_heat():
    pilots = (Pilot("Wren", (5800,)), Pilot("Rook", (5800,)), Pilot("Coot", (5700,)))
    heats = (("Coot", "Wren"), ("Wren", "Coot", "Rook"))
    taken = words_of("take out", *pilots, heats_given=heats)
    assert taken == ["Take Wren out of heat 2", "Take Rook out of heat 2"]


def test_a_heat_of_one_pilot_is_given_up():
    day = (Pilot("Wren", ()), Pilot("Rook", (5800,)))
    assert "Take Wren out of heat 1" in words_of("take out", *day, heats_given=(("Wren",), ("Rook",)))


def test_where_nothing_else_helps_a_pilot_is_left_out():
    # Both have the one channel of the day and must fly together in the one heat.
    pair = (Pilot("Wren", (5800,), together=frozenset({"Rook"})), Pilot("Rook", (5800,)))
    assert cures_named(*pair, aircraft=2) == ["Plan without Wren", "Plan without Rook"]
    assert cures_named(Pilot("Wren", ())) == []
