"""Where the walks begin, step by step: spaced channels, places, windows and the reluctance of a heat."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from server.allocator import starts
from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem, Pilot
from server.allocator.round_search import RoundPlan
from server.allocator.starts import (
    _dealing_order,
    _in_windows,
    _reluctance,
    _tuned,
    places_start,
    spaced_start,
)
from tests.allocator.days import ALL_BANDS, equal_pilots

RACE_MHZ = (5658, 5695, 5732, 5769, 5806, 5843)


def search_for(*pilots, powers=None, **wishes):
    day = DayProblem(pilots, **{"time_limit_s": None, **wishes})
    return DaySearch(day, powers or [25.0] * len(pilots), lambda *_: True)


def mhz_of(search, channel):
    return search.gear.mhz[channel].tolist()


def on(search, *mhz):
    return np.array([search.gear.mhz.tolist().index(one) for one in mhz])


class TestSpaced:
    def test_every_heat_gets_channels_that_keep_the_spacing(self):
        search = search_for(
            Pilot("Wren", (5658, 5695)),
            Pilot("Rook", (5658,)),
            Pilot("Coot", (5658, 5695)),
            Pilot("Quill", (5670, 5732)),
            aircraft=2,
        )
        found = spaced_start(search, [0, 0, 1, 1])
        assert found.heat_of.tolist() == [0, 0, 1, 1]
        assert mhz_of(search, found.channel) == [5695, 5658, 5658, 5732]

    def test_a_heat_without_a_way_gets_the_lowest_channel_of_each(self):
        search = search_for(Pilot("Wren", (5658, 5660)), Pilot("Rook", (5659, 5661)), aircraft=2)
        assert mhz_of(search, spaced_start(search, [0, 0]).channel) == [5658, 5659]


class TestPlaces:
    def test_equal_pilots_fill_each_place_once_a_heat(self):
        search = search_for(*equal_pilots(6, RACE_MHZ), aircraft=3)
        found = places_start(search, [0] * 6)
        assert np.bincount(found.heat_of).tolist() == [3, 3]
        for heat in range(2):
            assert len(set(found.channel[found.heat_of == heat].tolist())) == 3
        # Two of each place, one after the other, in different heats.
        for channel in set(found.channel.tolist()):
            assert sorted(found.heat_of[found.channel == channel].tolist()) == [0, 1]

    def test_who_fits_in_no_place_gets_the_own_channel_nearest_to_one(self):
        # Both places are opened by those who can tune least; Quill can tune neither.
        search = search_for(
            Pilot("Wren", (5658,)),
            Pilot("Rook", (5658,)),
            Pilot("Coot", (5880,)),
            Pilot("Heron", (5880,)),
            Pilot("Quill", (5740, 5775, 5845)),
            aircraft=2,
        )
        found = places_start(search, [0, 1, 0, 1, 2])
        # From 5658 and 5880: 82, 35 and 105 MHz.
        assert mhz_of(search, found.channel) == [5658, 5658, 5880, 5880, 5845]
        # Place by place, then who is left over.
        assert found.heat_of.tolist() == [0, 1, 2, 0, 1]

    def test_who_fly_together_stay_in_their_heat_and_others_are_dealt(self):
        pilots = list(equal_pilots(6, RACE_MHZ))
        pilots[4] = replace(pilots[4], together=frozenset({"P05"}))
        search = search_for(*pilots, aircraft=3)
        found = places_start(search, [0, 0, 0, 1, 1, 1])
        assert found.heat_of[4] == found.heat_of[5] == 1
        alone = [0, 1, 2, 3]
        assert sorted(found.heat_of[alone].tolist()) == [0, 0, 1, 1]

    def test_where_places_have_no_channels_any_spaced_round_is_taken(self):
        search = search_for(Pilot("Wren", (5658,)), Pilot("Rook", (5660,)), aircraft=2)
        assert mhz_of(search, places_start(search, [0, 0]).channel) == [5658, 5660]


class TestWindows:
    @pytest.mark.parametrize("seed", range(12))
    def test_seats_are_ordered_as_the_best_of_all_orders(self, seed):
        dice = np.random.default_rng(seed)
        seats = dice.integers(0, 4, size=(3, 2))
        item_of = dice.integers(-1, 2, size=6)
        allowed = dice.random((6, 3)) < 0.6
        allowed[np.arange(6), dice.integers(0, 3, size=6)] = True
        demand = np.zeros((3, 2))
        for item, row in zip(item_of, allowed, strict=True):
            if item >= 0 and not row.all():
                demand[row, item] += 1 / row.sum()

        def met(ordered):
            return np.minimum(ordered, demand).sum()

        ordered = _in_windows(seats, item_of, allowed)
        best = max(met(seats[list(order)]) for order in itertools.permutations(range(3)))
        assert met(ordered) == pytest.approx(best)
        assert sorted(ordered.tolist()) == sorted(seats.tolist())

    def test_only_items_that_may_not_fly_in_every_heat_ask_for_seats(self):
        seats = np.array([[0, 1], [2, 0]])
        first_only = np.array([[True, False]])
        # The one of item 0 needs heat 1; four who are counted nowhere, or may fly in both, ask for nothing.
        for item, rows in ((-1, first_only), (1, np.array([[True, True]]))):
            allowed = np.vstack([first_only, *[rows] * 4])
            ordered = _in_windows(seats, np.array([0, *[item] * 4]), allowed)
            assert ordered.tolist() == [[2, 0], [0, 1]]


class TestDealing:
    """Fewest heats first, then those of a kind, then who tunes least, then channel by channel."""

    def order(self, items=(0, 0, 0, 0), channel=(0, 0, 0, 0), heats=(2, 2, 2, 2), tunes=(9, 9, 9, 9)):
        pilots = [Pilot(f"P{n}", tuple(range(5650, 5650 + 20 * many, 20))) for n, many in enumerate(tunes)]
        allowed = np.array([[True, many == 2] for many in heats])
        return _dealing_order(search_for(*pilots, aircraft=2), np.array(items), np.array(channel), allowed)

    def test_each_of_the_four_goes_before_the_next(self):
        assert self.order() == [0, 1, 2, 3]
        assert self.order(channel=(3, 1, 1, 0)) == [3, 1, 2, 0]
        assert self.order(channel=(0, 1, 2, 3), tunes=(3, 2, 3, 1)) == [3, 1, 0, 2]
        assert self.order(tunes=(1, 2, 3, 4), items=(-1, 0, -1, 1)) == [1, 3, 0, 2]
        assert self.order(items=(0, -1, 0, 0), heats=(2, 1, 2, 2)) == [1, 0, 2, 3]

    def test_twice_the_seats_of_a_heat_are_as_good_as_more(self):
        assert self.order(channel=(1, 0, 0, 0), tunes=(4, 5, 6, 3)) == [3, 1, 2, 0]
        assert self.order(channel=(1, 0, 0, 0), tunes=(3, 4, 6, 5)) == [0, 1, 2, 3]


class TestTuned:
    def setup_method(self):
        self.search = search_for(*equal_pilots(4, RACE_MHZ), aircraft=2)
        self.close = RoundPlan(np.array([0, 0, 1, 1]), on(self.search, 5658, 5695, 5658, 5843))

    def test_only_heats_below_what_is_enough_are_tuned(self):
        margins = [self.search.heat_margin_db(self.close, heat) for heat in range(2)]
        assert margins[0] <= margins[1]
        kept = _tuned(self.search, self.close, margins[0])
        assert kept.channel.tolist() == self.close.channel.tolist()
        shared = RoundPlan(self.close.heat_of, on(self.search, 5658, 5658, 5658, 5843))
        found = _tuned(self.search, shared, -1000.0)
        assert found.channel[2:].tolist() == shared.channel[2:].tolist()
        assert len(set(found.channel[:2].tolist())) == 2

    def test_a_heat_that_is_just_enough_is_left_alone(self):
        near = search_for(*equal_pilots(2, (5658, 5683, 5843)), aircraft=2)
        one = RoundPlan(np.array([0, 0]), on(near, 5658, 5683))
        enough_db = near.heat_margin_db(one, 0)
        assert mhz_of(near, _tuned(near, one, enough_db).channel) == [5658, 5683]
        assert 5843 in mhz_of(near, _tuned(near, one, enough_db + 0.01).channel)

    def test_a_spacing_that_is_just_kept_is_kept(self):
        search = search_for(*equal_pilots(2, RACE_MHZ), aircraft=2, minimum_spacing_mhz=37)
        even = RoundPlan(np.array([0, 0]), on(search, 5658, 5695))
        assert _tuned(search, even, -1000.0).channel.tolist() == on(search, 5658, 5695).tolist()
        wide = search_for(*equal_pilots(2, RACE_MHZ), aircraft=2, minimum_spacing_mhz=38)
        found = _tuned(wide, RoundPlan(np.array([0, 0]), on(wide, 5658, 5695)), -1000.0)
        assert abs(np.diff(mhz_of(wide, found.channel))[0]) >= 38


class TestReluctance:
    """(no seat left, rules broken, neighbours too close, -seats, heat)"""

    def setup_method(self):
        pilots = list(equal_pilots(5, ALL_BANDS))
        pilots[0] = replace(pilots[0], apart=frozenset({"P01"}), together=frozenset({"P02"}))
        self.search = search_for(*pilots, aircraft=3)
        self.channel = on(self.search, 5705, 5695, 5800, 5685, 5880)

    def ask(self, heat, heat_of, kind=-1, seats=((2, 0), (0, 1))):
        return _reluctance(self.search, heat, 0, np.array(heat_of), self.channel, np.array(seats), kind)

    def test_an_empty_heat_has_all_seats(self):
        assert self.ask(1, [-1] * 5) == (0, 0, 0, -3, 1)

    def test_seats_of_the_own_kind_are_counted_where_it_has_one(self):
        assert self.ask(0, [-1] * 5, kind=0)[:4] == (0, 0, 0, -2)
        assert self.ask(1, [-1] * 5, kind=0)[:4] == (1, 0, 0, 0)
        assert self.ask(1, [-1] * 5, kind=1)[:4] == (0, 0, 0, -1)

    def test_a_partner_elsewhere_and_somebody_apart_here_each_break_a_rule(self):
        assert self.ask(0, [-1, -1, 1, -1, -1])[1] == 1
        assert self.ask(1, [-1, -1, 1, -1, -1])[1] == 0
        assert self.ask(0, [-1, 0, 1, -1, -1])[1] == 2
        assert self.ask(0, [-1, 1, 0, -1, -1])[1] == 0

    def test_whoever_is_closer_than_the_spacing_is_counted(self):
        assert self.ask(0, [-1, 0, -1, -1, -1])[2] == 1
        assert self.ask(0, [-1, -1, -1, 0, 0])[2] == 0

    def test_a_full_heat_has_no_seat(self):
        assert self.ask(0, [-1, -1, 0, 0, 0])[0] == 1
        assert self.ask(0, [-1, -1, 0, 0, -1])[:1] == (0,)


def test_a_heat_of_one_channel_for_two_does_not_fit():
    search = search_for(Pilot("Wren", (5658,)), Pilot("Rook", (5658,)), Pilot("Coot", (5678,)), aircraft=2)
    channel = on(search, 5658, 5658, 5678)
    left = np.zeros((2, 1))
    beside = [
        _reluctance(search, 0, 0, np.array(heat_of), channel, left, -1)
        for heat_of in ([-1, 0, -1], [-1, -1, 0])
    ]
    # On one channel: no way to space them, and one too close. Twenty MHz apart is far enough.
    assert [one[1:3] for one in beside] == [(1, 1), (0, 0)]


def test_search_nodes_for_the_channels_of_a_heat():
    """Common practice, no source."""
    assert starts.TUNING_NODES == 2_000
