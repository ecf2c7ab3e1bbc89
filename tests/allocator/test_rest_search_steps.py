"""Seats and channels of the heats ahead one by one: which are good enough, which are tried, which are kept."""

from types import SimpleNamespace

import numpy as np
import pytest

from server.allocator import rest_search
from server.allocator.moves_core import BROKEN
from server.allocator.rest import Down, Seat, frame_of_rest
from server.allocator.rest_search import Placed, RestSearch
from tests.allocator.test_rest import OTTER, QUILL, ROOK, WREN, heat, pilot, rest_of


def search_of(rest, step=lambda: None):
    return RestSearch(rest.problem, frame_of_rest(rest), len(rest.down), step)


def placed(channel=(), seats=(), loads=(0.0,), key=0.0):
    return Placed(np.array(channel, dtype=np.int64), seats, np.array(loads), (key,))


def with_seats(monkeypatch, sizes, rest_heats=1, lost=0):
    """A search whose heats have so many members."""
    search = object.__new__(RestSearch)
    search.problem = SimpleNamespace(rest_heats=rest_heats)
    search.down = tuple(range(lost))
    monkeypatch.setattr(search, "members", lambda _placed, at: range(sizes[at]), raising=False)
    return search


class TestBestSeats:
    def seats(self, monkeypatch, places, load, worst=0.5, sizes=None, **of_search):
        search = with_seats(monkeypatch, sizes or [2] * 10, **of_search)
        without = placed(seats=(-1,) * len(places), loads=(worst,))
        return search._best_seats(without, places, load)

    def test_a_heat_after_enough_rest_comes_before_one_that_is_better(self, monkeypatch):
        load = {0: 0.1, 1: 0.1, 2: 0.2, 3: 0.3}
        # Heats 0, 1 of one round, then 1 to 3 of the next: one heat of rest between two flights.
        assert self.seats(monkeypatch, {0: [0], 1: [1, 2, 3]}, load) == (0, 2)
        assert self.seats(monkeypatch, {0: [0], 1: [1, 2, 3]}, load, rest_heats=2) == (0, 3)
        assert self.seats(monkeypatch, {0: [0], 1: [1, 2, 3]}, load, rest_heats=0) == (0, 1)

    def test_the_first_flight_needs_no_rest(self, monkeypatch):
        load = {number: 0.1 + number / 100 for number in range(8)}
        for rest_heats in (0, 1, 5):
            seats = self.seats(monkeypatch, {0: list(load)}, load, rest_heats=rest_heats)
            assert seats == (0,)

    def test_the_smaller_heat_comes_before_the_better_and_the_better_before_the_first(self, monkeypatch):
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.1, 1: 0.2}, sizes=[3, 2]) == (1,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.2, 1: 0.1}) == (1,)
        assert self.seats(monkeypatch, {0: [1, 0]}, {0: 0.1, 1: 0.1}) == (0,)

    def test_an_empty_heat_holds_what_is_down(self, monkeypatch):
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.2, 1: 0.1}, sizes=[0, 1], lost=1) == (1,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.2, 1: 0.1}, sizes=[0, 1]) == (0,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.2, 1: 0.1}, sizes=[0, 1], lost=2) == (1,)

    def test_a_heat_worse_than_the_day_is_not_taken_for_rest_or_size(self, monkeypatch):
        sizes = [3, 2]
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.1, 1: 0.6}, sizes=sizes) == (0,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.1, 1: 0.5}, sizes=sizes) == (1,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.1, 1: 0.5 * (1 + 1e-10)}, sizes=sizes) == (1,)
        assert self.seats(monkeypatch, {0: [0, 1]}, {0: 0.1, 1: 0.5 * (1 + 1e-8)}, sizes=sizes) == (0,)

    def test_where_a_round_must_be_worse_the_others_may_be_as_bad(self, monkeypatch):
        # The second round has nothing better than 0.9, so the first may take the smaller heat of 0.8.
        found = self.seats(monkeypatch, {0: [0, 1], 1: [4]}, {0: 0.1, 1: 0.8, 4: 0.9}, sizes=[3, 2, 2, 2, 2])
        assert found == (1, 4)


class TestSeats:
    def test_a_heat_has_room_up_to_the_most_who_fly_at_once(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, *(pilot(f"L{n}") for n in range(2)), aircraft=3))
        first, second = (n for n, seat in enumerate(search.frame.seats) if seat.round == 1)
        seats = [-1] * 4
        assert search._with_room(seats, first) == [0, 1]
        seats[second] = 0
        assert search._with_room(seats, first) == [1]
        seats[first] = 0  # the own seat does not count
        seats[second] = 1
        assert search._with_room(seats, first) == [0]

    def test_who_must_not_meet_leaves_no_room(self):
        late, later = pilot("Late"), pilot("Later", apart=frozenset({"Late"}))
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, late, later, aircraft=4))
        first, second = (n for n, seat in enumerate(search.frame.seats) if seat.round == 1)
        seats = [-1] * 4
        seats[second] = 1
        assert search._with_room(seats, first) == [0]

    def test_first_seats_fill_heats_in_their_order_and_overflow_into_the_first(self, monkeypatch):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, *(pilot(f"L{n}") for n in range(2)), aircraft=3))
        by_round = {seat.round: [] for seat in search.frame.seats}
        for seat, where in zip(search.frame.seats, search._first_seats(), strict=True):
            by_round[seat.round].append(where)
        assert by_round == {1: [0, 1], 2: [2, 3]}
        monkeypatch.setattr(search, "_with_room", lambda _seats, _number: [])
        assert search._first_seats() == tuple(seat.heats[0] for seat in search.frame.seats)

    def test_first_seats_are_found_beside_those_found_before(self, monkeypatch):
        search = object.__new__(RestSearch)
        search.frame = SimpleNamespace(seats=[Seat(0, 1, (5,))] * 3)
        seen = []
        monkeypatch.setattr(
            search,
            "_with_room",
            lambda seats, number: seen.append((number, seats)) or [7 + number],
            raising=False,
        )
        assert search._first_seats() == (7, 8, 9)
        assert seen == [(0, [-1, -1, -1]), (1, [7, -1, -1]), (2, [7, 8, -1])]


class TestKeys:
    def test_a_key_counts_broken_pairs_and_then_six_heats_in_db_the_worst_first(self):
        loads = np.array([0.1, 2 * BROKEN, 1.0, 0.01, BROKEN + 1.0, 0.5, 0.25, 0.2])
        key = rest_search._key(loads)
        assert len(key) == 7
        assert key[0] == 3.0
        assert key[3:] == pytest.approx((0.0, -3.0103, -6.0206, -6.9897), abs=1e-6)

    def test_differences_below_a_millionth_of_a_decibel_are_none(self):
        assert rest_search._key(np.array([0.5])) == rest_search._key(np.array([0.5 * (1 + 1e-8)]))
        assert rest_search._key(np.array([0.5])) != rest_search._key(np.array([0.5 * (1 + 1e-6)]))

    def test_rows_are_ordered_by_their_worst_heat_then_by_the_next(self):
        rows = np.array([[0.5, 0.4], [0.6, 0.1], [0.2, 0.5], [BROKEN, 0.0], [0.3, 0.3]])
        assert rest_search._order(rows).tolist() == [4, 2, 0, 1, 3]


class TestTrials:
    def test_those_still_on_their_channel_in_the_worst_heats_are_worth_moving(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        stay = search.stay.tolist()

        def worth(loads, channel=stay):
            return search._worth_moving(placed(channel, (), loads))

        # Heats: Wren and Otter, Rook and Quill, Wren and Rook, Otter and Quill.
        assert worth([0.9, 0.5, 0.5, 0.5]) == [0, 1]
        assert worth([0.9, 0.9, 0.5, 0.5]) == [0, 1, 2, 3]
        assert worth([0.9, 0.9 * (1 - 1e-10), 0.5, 0.5]) == [0, 1, 2, 3]
        assert worth([0.9, 0.9 * (1 - 1e-8), 0.5, 0.5]) == [0, 1]
        assert worth([0.9, 0.5, 0.5, 0.5], [stay[0] + 1, *stay[1:]]) == [1]
        assert worth([2 * BROKEN, 0.5, 0.5, BROKEN]) == [0, 1, 3]

    def test_a_newcomer_set_to_nothing_is_not_moved(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")))
        start = search.start()
        everywhere = placed(start.channel, (0, 2), [0.9] * 4)
        assert search._worth_moving(everywhere) == [0, 1, 2, 3]

    def test_the_best_eight_trials_are_improved_and_the_best_four_states_kept(self, monkeypatch):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        improved = []
        monkeypatch.setattr(search, "moved", lambda _one: [])
        monkeypatch.setattr(search, "_worth_moving", lambda _one: range(5))
        monkeypatch.setattr(search, "_free", lambda _one: [])
        monkeypatch.setattr(search, "_improved", lambda one, _rows: improved.append(one.key[0]) or one)
        monkeypatch.setattr(
            search,
            "_on_best_channels",
            lambda _one, row, may_move: [
                placed([10 * row + n], (), key=10.0 - 2 * row + n) for n in range(2)
            ],
        )
        found = search.one_more([placed([99], (), key=5.5)], 1)
        assert improved == [2.0, 3.0, 4.0, 5.0, 5.5, 6.0, 7.0, 8.0]
        assert [one.key[0] for one in found] == [2.0, 3.0, 4.0, 5.0]

    def test_equal_states_are_kept_once(self, monkeypatch):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        monkeypatch.setattr(search, "moved", lambda _one: [])
        monkeypatch.setattr(search, "_worth_moving", lambda _one: [])
        one, same, seated = placed([1], (), key=1.0), placed([1], (), key=1.0), placed([1], (2,), key=2.0)
        monkeypatch.setattr(search, "_improved", lambda state, _rows: state)
        monkeypatch.setattr(search, "_free", lambda _one: [])
        assert [state.key[0] for state in search.one_more([one, same, seated], 1)] == [1.0, 2.0]

    def test_nobody_is_moved_beyond_the_number(self, monkeypatch):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        asked = []
        monkeypatch.setattr(search, "moved", lambda _one: [0, 1])
        monkeypatch.setattr(search, "_worth_moving", lambda _one: asked.append(1) or [])
        monkeypatch.setattr(search, "_improved", lambda state, _rows: state)
        monkeypatch.setattr(search, "_free", lambda _one: [])
        for moved, times in ((1, 0), (2, 0), (3, 1)):
            asked.clear()
            search.one_more([placed([1], ())], moved)
            assert len(asked) == times

    def test_two_states_of_one_pilot_are_the_best_two_channels(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        start = search.start()
        found = search._on_best_channels(start, 0)
        keys = []
        for f in np.flatnonzero(search.gear.usable[0]):
            channel = start.channel.copy()
            channel[0] = f
            keys.append((search._placed(channel, start.seats).key, int(f)))
        best = sorted(keys)[:2]
        assert [one.channel[0] for one in found] == [f for _, f in best]
        assert [one.key for one in found] == [pytest.approx(key) for key, _ in best]

    def test_a_newcomer_is_tried_on_every_channel_and_the_loads_are_those_of_the_heats(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")))
        start = search.start()
        found = search._seated(start, 4, None)
        assert len(found) == 2
        for one in found:
            assert one.loads == pytest.approx(search._placed(one.channel, one.seats).loads)
        (only,) = search._seated(start, 4, [7])
        assert only.channel.tolist() == [0, 1, 2, 3, 7]
        assert found[0].key <= only.key

    def test_a_newcomer_set_to_a_channel_leaves_it_only_for_a_move(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late", 5695)))
        start = search.start()
        assert {int(one.channel[4]) for one in search._on_best_channels(start, 4)} == {1}
        assert {int(one.channel[4]) for one in search._on_best_channels(start, 4, may_move=True)} != {1}
        moved = search.with_channels(start, [4], np.array([5]))
        assert {int(one.channel[4]) for one in search._on_best_channels(moved, 4)} != {1}

    def test_improving_ends_after_a_pass_that_helps_nobody_and_after_five(self, monkeypatch):
        steps = []
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL), lambda: steps.append(1))
        better = iter(np.arange(100.0, 0.0, -1.0))
        monkeypatch.setattr(
            search, "_on_best_channels", lambda one, _row: [placed([0], (), key=next(better))]
        )
        assert search._improved(placed([0], (), key=101.0), [0, 1]).key == (91.0,)
        assert len(steps) == 10
        monkeypatch.setattr(search, "_on_best_channels", lambda one, _row: [placed([0], (), key=200.0)])
        steps.clear()
        assert search._improved(placed([0], (), key=101.0), [0, 1]).key == (101.0,)
        assert len(steps) == 2


class TestStart:
    def test_whoever_has_fewest_channels_is_improved_first(self, monkeypatch):
        few, fewer = pilot("Few", channels_mhz=(5806, 5843, 5880)), pilot("Fewer", channels_mhz=(5843, 5880))
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), few, fewer, aircraft=4))
        seen = []
        monkeypatch.setattr(search, "_improved", lambda one, rows: seen.append(list(rows)) or one)
        search.start()
        assert seen == [[6, 5, 4]]

    def test_before_it_is_improved_everybody_who_chooses_has_the_lowest_own_channel(self, monkeypatch):
        late = pilot("Late", channels_mhz=(5806, 5880))
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, late, bans_mhz=(5658,)))
        monkeypatch.setattr(search, "_improved", lambda one, _rows: one)
        start = search.start()
        assert search.gear.mhz[start.channel].tolist() == [5695, 5695, 5732, 5769, 5806]

    def test_a_heat_that_nobody_flies_in_has_no_load(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), aircraft=2))
        start = search.start()
        assert start.seats == (2, 5)
        loads = search._placed(start.channel, (-1, -1)).loads
        assert (loads > 0).tolist() == [True, True, False, True, True, False]

    def test_what_is_down_is_the_last_and_counts_as_no_move(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, down=(Down("Lost", 5917, 25.0),)))
        assert search.down == (4,)
        assert search.is_set.tolist() == [True] * 4 + [False]
        assert search.gear.mhz[search.stay[4]] == 5917
        assert search.flying == [0, 1, 2, 3]

    def test_no_heat_has_no_load(self):
        assert placed(loads=()).worst == 0.0
        assert placed(loads=(0.2, 0.7)).worst == 0.7

    def test_spacing_just_broken_is_named(self):
        search = search_of(rest_of(WREN, OTTER, heats=(heat(7, 1, WREN), heat(8, 1, OTTER)), first_open=7))
        assert search.broken_heats(placed(loads=(BROKEN, BROKEN * 0.999))) == (7,)
