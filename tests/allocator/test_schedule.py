"""The frame of a day: heats of a round, their sizes, and who may fly in which."""

import numpy as np
import pytest

from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import (
    Frame,
    allowed_heats,
    frame_of,
    is_there,
    pairs,
    rested_heats,
    takes_part,
)


def day_of(*rules, **wishes):
    """One pilot for each set of rules, called Wren, Rook, Coot and so on."""
    names = ("Wren", "Rook", "Coot", "Otter", "Sorrel", "Magpie")
    pilots = tuple(Pilot(name, (5658,), **own) for name, own in zip(names, rules, strict=False))
    return DayProblem(pilots, **wishes)


@pytest.mark.parametrize("aircraft", [1, 2, 3, 5, 6, 8])
@pytest.mark.parametrize("count", [1, 2, 5, 6, 7, 12, 13, 20])
def test_heats_are_as_few_as_hold_everybody_and_differ_by_one_at_most(count, aircraft):
    pilots = tuple(Pilot(f"P{number}", (5658,)) for number in range(count))
    frame = frame_of(DayProblem(pilots, aircraft=aircraft))
    assert frame.heats == min(h for h in range(1, count + 1) if h * aircraft >= count)
    sizes = sorted(len(range(heat, count, frame.heats)) for heat in range(frame.heats))  # dealt like cards
    assert (frame.smallest, frame.largest) == (sizes[0], sizes[-1])


def test_one_heat_holds_everybody_whatever_may_fly_at_once():
    assert frame_of(day_of({}, {}, {}, aircraft=2, one_heat=True)) == Frame(1, 3, 3)


def test_a_day_of_nobody_has_one_empty_heat():
    assert frame_of(DayProblem(())) == Frame(1, 0, 0)


@pytest.mark.parametrize(
    ("rules", "heats"),
    [
        ({}, {1, 2, 3, 4}),
        ({"after": 2}, {3, 4}),  # not in heat 2 itself
        ({"before": 3}, {1, 2}),
        ({"after": 1, "before": 4}, {2, 3}),
        ({"after": 2, "before": 3}, set()),
    ],
)
def test_a_pilot_is_there_after_one_heat_and_before_another(rules, heats):
    pilot = Pilot("Wren", (5658,), **rules)
    assert {number for number in range(1, 5) if is_there(pilot, number)} == heats


def test_a_pilot_takes_part_in_every_round_with_a_heat_to_fly_in():
    day = day_of({}, {"after": 2}, {"after": 3}, {"before": 3}, {"before": 4}, aircraft=3)
    frame = Frame(2, 2, 3)
    assert takes_part(day, frame, 1).tolist() == [True, False, False, True, True]  # heats 1 and 2
    assert takes_part(day, frame, 2).tolist() == [True, True, True, False, True]  # heats 3 and 4


def test_heats_that_a_pilot_may_fly_in_are_those_of_the_own_presence():
    day = day_of({}, {"after": 1}, {"before": 2}, {"after": 4}, aircraft=2)
    frame = Frame(3, 1, 2)
    assert allowed_heats(day, frame, 1).astype(int).tolist() == [[1, 1, 1], [0, 1, 1], [1, 0, 0], [0, 0, 0]]
    assert allowed_heats(day, frame, 2).astype(int).tolist() == [[1, 1, 1], [1, 1, 1], [0, 0, 0], [0, 1, 1]]


def test_a_heat_that_is_set_binds_its_own_round_only():
    day = day_of({"heat": 2}, {"heat": 5}, {"heat": 2, "after": 2}, aircraft=1)
    frame = Frame(3, 1, 1)
    assert allowed_heats(day, frame, 1).astype(int).tolist() == [[0, 1, 0], [1, 1, 1], [0, 0, 0]]
    assert allowed_heats(day, frame, 2).astype(int).tolist() == [[1, 1, 1], [0, 1, 0], [1, 1, 1]]


def test_nobody_may_fly_anywhere_where_nobody_is():
    assert allowed_heats(DayProblem(()), Frame(2, 0, 0), 1).shape == (0, 2)


@pytest.mark.parametrize("rest_heats", [0, 1, 2, 3, 9])
@pytest.mark.parametrize("heats", [1, 2, 3, 4])
def test_rest_is_counted_in_heats_between_two_flights_across_rounds(heats, rest_heats):
    flown = np.arange(heats)
    rested = rested_heats(flown, Frame(heats, 1, 1), rest_heats)
    rest = min(rest_heats, heats - 1)  # more than that no round can give to all
    for earlier in range(heats):
        for later in range(heats):
            between = (heats + later) - earlier - 1
            assert rested[earlier, later] == (between >= rest)


def test_who_sat_the_round_out_has_rested():
    assert rested_heats(np.array([-1, 2]), Frame(3, 1, 1), 2).tolist() == [[True] * 3, [False, False, True]]


def named(day, kind):
    """Pairs of a table by the first letters of the names."""
    table = pairs(day, kind)
    assert (table == table.T).all()
    first = [pilot.callsign[0] for pilot in day.pilots]
    return {first[x] + first[y] for x, y in zip(*np.nonzero(np.triu(table)), strict=True)}


def test_apart_binds_both_whoever_named_the_other():
    assert named(day_of({}, {"apart": frozenset({"Wren"})}, {}), "apart") == {"WR"}


def test_a_spotter_who_flies_is_apart_and_any_other_binds_nobody():
    day = day_of({"spotter": "Coot"}, {"spotter": "Uncle"}, {}, {"spotter": None})
    assert named(day, "apart") == {"WC"}


def test_nobody_is_apart_from_or_together_with_themselves():
    day = day_of({"apart": frozenset({"Wren"}), "together": frozenset({"Wren", "Rook"})}, {})
    assert not pairs(day, "apart").any()
    assert not pairs(day, "together").diagonal().any()


def test_apart_is_not_passed_on():
    day = day_of({"apart": frozenset({"Rook"})}, {"apart": frozenset({"Coot"})}, {})
    assert named(day, "apart") == {"WR", "RC"}


def test_together_is_passed_on_through_any_number_of_pilots():
    chain = [{"together": frozenset({name})} for name in ("Rook", "Coot", "Otter")]
    assert named(day_of(*chain, {}, {}), "together") == {"WR", "WC", "WO", "RC", "RO", "CO"}


def test_together_and_apart_are_kept_apart():
    day = day_of(
        {"together": frozenset({"Rook"}), "apart": frozenset({"Coot"}), "spotter": "Otter"}, {}, {}, {}
    )
    assert named(day, "together") == {"WR"}
    assert named(day, "apart") == {"WC", "WO"}


def test_a_callsign_that_is_not_in_the_roster_binds_nobody():
    day = day_of({"apart": frozenset({"Teasel"}), "together": frozenset({"Umber"})}, {})
    assert not pairs(day, "apart").any()
    assert not pairs(day, "together").any()
