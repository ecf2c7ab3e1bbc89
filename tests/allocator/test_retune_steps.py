"""The search for changes of channel, step by step: which are tried, which heats come first, when it ends."""

import math

import numpy as np
import pytest

from server.allocator import retunes
from server.allocator.problem import DayProblem, Pilot
from server.allocator.retunes import Parts, _settled, _useful_cuts, fewest_retunes, heat_margins_db, pinned
from server.allocator.scoring import day_gear
from server.radio.interference import Station, heat_margins
from server.radio.site import Site

WREN = Pilot("Wren", (5658, 5880))
ROOK, COOT = Pilot("Rook", (5680,)), Pilot("Coot", (5860,))
BESIDE = [[0, 1], [0, 2]]


def go_on(*_):
    return True


def day_of(*pilots, **wishes):
    problem = DayProblem(tuple(pilots), **wishes)
    return problem, day_gear(problem, [25.0] * len(pilots))


def on(gear, *mhz):
    return np.array([gear.mhz.tolist().index(one) for one in mhz])


def searched(heats, channel_mhz, bound_db=100.0, pilots=(WREN, ROOK, COOT), **wishes):
    problem, gear = day_of(*pilots, **wishes)
    channel = None if channel_mhz is None else on(gear, *channel_mhz)
    parts, found = fewest_retunes(problem, gear, heats, channel, bound_db, go_on)
    return parts.cuts, None if found is None else gear.mhz[found].tolist()


class TestCuts:
    def test_the_worst_heat_is_cut_before_and_after_its_flights(self):
        heats = [[0, 1], [0, 1], [0, 1]]
        assert _useful_cuts(heats, (), [5.0, 1.0, 3.0]) == [(0, 1), (0, 2), (1, 1), (1, 2)]

    def test_nothing_is_cut_before_the_first_flight_or_after_the_last(self):
        heats = [[0, 1], [0, 2], [0, 1]]
        assert _useful_cuts(heats, (), [1.0, 5.0, 5.0]) == [(0, 1), (1, 1)]
        assert _useful_cuts(heats, (), [5.0, 1.0, 5.0]) == [(0, 1), (0, 2)]
        assert _useful_cuts(heats, (), [5.0, 5.0, 1.0]) == [(0, 2), (1, 1)]

    def test_the_next_worst_heat_comes_where_all_cuts_of_the_worst_are_made(self):
        heats = [[0, 1], [0, 2], [1, 2]]
        assert _useful_cuts(heats, ((0, 1), (1, 1)), [1.0, 2.0, 3.0]) == [(2, 1)]

    def test_of_heats_as_bad_the_earlier_is_cut(self):
        assert _useful_cuts([[0], [1], [0, 1]], (), [2.0, 2.0, 3.0]) == [(0, 1)]

    def test_flights_that_are_the_only_ones_leave_nothing_to_cut(self):
        assert _useful_cuts([[0, 1], [2]], (), [1.0, 2.0]) == []


class TestSettling:
    def test_the_heat_of_those_who_fly_most_is_settled_first(self):
        # Wren and Coot fly twice: together they take what is best for them, and Rook gets along with it.
        pilots = (Pilot("Wren", (5658, 5695)), Pilot("Rook", (5658, 5800)), Pilot("Coot", (5880,)))
        problem, gear = day_of(*pilots)
        heats = [[0, 1], [0, 2], [2]]
        found = gear.mhz[_settled(problem, gear, heats, Parts(3, heats, ()), go_on)]
        assert found[2] == 5880
        assert abs(found[0] - found[1]) >= 37

    def test_a_channel_that_is_settled_stays_in_later_heats(self):
        # Beside Rook, who flies twice, Wren takes 5880; Coot on 5870 would ask for 5690.
        pilots = (Pilot("Wren", (5690, 5880)), Pilot("Rook", (5658,)), Pilot("Coot", (5870,)))
        problem, gear = day_of(*pilots)
        heats = [[0, 2], [0, 1], [1]]
        found = gear.mhz[_settled(problem, gear, heats, Parts(3, heats, ()), go_on)]
        assert found.tolist() == [5880, 5658, 5870]

    def test_the_lowest_channel_is_settled_like_any_other(self):
        usable = np.ones((2, 2), dtype=bool)
        assert pinned(usable, np.array([0, -1])).tolist() == [[True, False], [True, True]]

    def test_where_no_channel_is_left_the_first_of_the_own_is_taken(self):
        problem, gear = day_of(Pilot("Wren", (5658,)), Pilot("Rook", (5658,)))
        found = _settled(problem, gear, [[0, 1]], Parts(2, [[0, 1]], ()), go_on)
        assert gear.mhz[found].tolist() == [5658, 5658]

    def test_parts_of_one_pilot_are_settled_apart(self):
        problem, gear = day_of(WREN, ROOK, COOT)
        found = _settled(problem, gear, BESIDE, Parts(3, BESIDE, ((0, 1),)), go_on)
        assert gear.mhz[found].tolist() == [5880, 5680, 5860, 5658]


class TestFewest:
    def test_one_change_that_lifts_both_heats_is_made(self):
        cuts, mhz = searched(BESIDE, (5658, 5680, 5860))
        assert (cuts, mhz) == (((0, 1),), [5880, 5680, 5860, 5658])

    def test_a_bound_that_leaves_less_than_the_price_ends_the_search(self):
        _, gear = day_of(WREN, ROOK, COOT)
        kept = on(gear, 5658, 5680, 5860)
        worst_db = min(heat_margins_db(gear, BESIDE, BESIDE, kept))
        price_db = DayProblem(()).retune_worth_db
        assert searched(BESIDE, (5658, 5680, 5860), worst_db + price_db - 0.01)[0] == ()
        assert searched(BESIDE, (5658, 5680, 5860), worst_db + price_db)[0] == ((0, 1),)

    def test_of_cuts_that_lift_as_much_the_earlier_is_made_first(self):
        assert searched([[0, 2], [0, 1], [0, 2]], (5658, 5680, 5860))[0] == ((0, 1), (0, 2))

    def test_a_day_of_pilots_who_fly_alone_is_left_as_it_is(self):
        assert searched([[0], [0]], (5658, 5680, 5860)) == ((), [5658, 5680, 5860])

    def test_a_day_that_cannot_be_cut_is_left_as_it_is(self):
        assert searched([[0, 1]], (5658, 5680, 5860)) == ((), [5658, 5680, 5860])

    def test_where_no_channels_last_any_margin_is_enough_and_none_at_all_is_told(self):
        pilots = (WREN, Pilot("Rook", (5658,)), Pilot("Coot", (5880,)))
        cuts, mhz = searched(BESIDE, None, pilots=pilots)
        assert (cuts, mhz) == (((0, 1),), [5880, 5658, 5880, 5658])
        hopeless = (Pilot("Wren", (5658,)), Pilot("Rook", (5658,)))
        assert searched([[0, 1], [0, 1]], None, pilots=hopeless) == ((), None)

    def test_a_day_that_lasts_is_changed_four_times_at_most(self, monkeypatch):
        heats = [[0, 1], [0, 2], [0, 1], [0, 2]]
        assert len(searched(heats, (5658, 5680, 5860))[0]) == 3
        monkeypatch.setattr(retunes, "MOST_RETUNES", 2)
        assert searched(heats, (5658, 5680, 5860))[0] == ()

    def test_limits_of_the_search(self):
        """Common practice, no source."""
        assert (retunes.MOST_RETUNES, retunes.SETTLING_NODES, retunes.LEAST_DB) == (4, 1_000, -1_000.0)


@pytest.mark.parametrize(("apart_mhz", "is_close"), [(19, True), (20, False), (21, False)])
def test_margins_are_those_of_the_model_from_the_spacing_on(apart_mhz, is_close):
    _, gear = day_of(Pilot("Wren", (5700,)), Pilot("Rook", (5700 + apart_mhz,)), minimum_spacing_mhz=20)
    (found,) = heat_margins_db(gear, [[0, 1]], [[0, 1]], on(gear, 5700, 5700 + apart_mhz))
    stations = [Station("Wren", 5700, 25.0), Station("Rook", 5700 + apart_mhz, 25.0)]
    there = min(slot.margin_db for slot in heat_margins(stations, Site()).slots)
    assert found == (-math.inf if is_close else pytest.approx(there, abs=0.0006))
    assert is_close or found == round(found, 3)


def test_the_margin_of_a_heat_is_that_of_its_worst_slot():
    problem = DayProblem((Pilot("Wren", (5700,)), Pilot("Rook", (5730,))))
    gear = day_gear(problem, [25.0, 200.0])
    stations = [Station("Wren", 5700, 25.0), Station("Rook", 5730, 200.0)]
    weak_db, loud_db = (slot.margin_db for slot in heat_margins(stations, Site()).slots)
    assert weak_db < loud_db - 15
    assert heat_margins_db(gear, [[0, 1]], [[0, 1]], on(gear, 5700, 5730)) == [
        pytest.approx(weak_db, abs=0.0006)
    ]
