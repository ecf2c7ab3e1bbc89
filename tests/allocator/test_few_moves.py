"""A heat with only so many pilots moved, against plain enumeration of small cases."""

import itertools
import math

import numpy as np
import pytest

from server.allocator.few_moves import HeatMoves, heat_moves
from server.allocator.moves_core import BROKEN, channel_loads, heat_load, improve_free
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, load_of_margin_db, margins_db

RACE = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)
POWERS = (25.0, 25.0, 200.0, 25.0, 600.0)


def gear_of_pilots(count, channels=RACE):
    return day_gear(DayProblem(tuple(Pilot(f"P{x}", channels) for x in range(count))), POWERS[:count])


def rows_of(*indices):
    return np.array(indices, dtype=np.int64)


def moves_of(gear, stay, is_set=None, **given):
    usual = {"node_limit": 100_000, "keep_going": lambda *_told: True}
    known = [f >= 0 for f in stay] if is_set is None else is_set
    return HeatMoves(gear, rows_of(*stay), np.array(known, dtype=np.bool_), **usual | given)


def enumerated(gear, stay, moved):
    """Least load with at most so many off the channel they keep; -1 chooses for nothing."""
    best = math.inf
    for trial in itertools.product(range(len(RACE)), repeat=len(stay)):
        off = sum(keep >= 0 and f != keep for f, keep in zip(trial, stay, strict=True))
        if off <= moved:
            best = min(best, heat_load(gear, np.arange(len(stay)), rows_of(*trial)))
    return best


class TestLoads:
    def test_a_heat_is_as_loaded_as_its_worst_margin_says(self):
        gear = gear_of_pilots(3)
        margins, _ = margins_db(gear, [0, 2], [5658, 5732])
        found = heat_load(gear, rows_of(0, 2), rows_of(0, 7, 2))
        assert found == pytest.approx(load_of_margin_db(margins.min()))

    def test_a_pilot_alone_has_no_load(self):
        assert heat_load(gear_of_pilots(2), rows_of(1), rows_of(0, 0)) == 0.0

    def test_every_pair_below_the_spacing_counts_as_broken_once(self):
        gear = gear_of_pilots(3)._replace(spacing_mhz=38)
        assert heat_load(gear, rows_of(0, 1, 2), rows_of(0, 1, 2)) // BROKEN == 2
        assert heat_load(gear._replace(spacing_mhz=37), rows_of(0, 1, 2), rows_of(0, 1, 2)) < BROKEN

    def test_a_pilot_is_tried_on_every_own_channel_beside_the_others(self):
        gear = gear_of_pilots(3)
        gear.usable[1, 4] = False
        channel = rows_of(0, 3, 7)
        loads = channel_loads(gear, rows_of(0, 2), channel, 1)
        assert loads[4] == math.inf
        for f in (1, 2, 3, 5, 6):
            assert loads[f] == heat_load(gear, rows_of(0, 2, 1), rows_of(0, f, 7))
        assert channel.tolist() == [0, 3, 7]


class TestImproving:
    def test_free_pilots_get_the_best_that_enumeration_finds(self):
        gear = gear_of_pilots(4)
        channel, best = rows_of(0, 3, 1, 2), rows_of(0, 0, 0, 0)
        load = improve_free(gear, rows_of(0, 1), rows_of(2, 3), channel, math.inf, best)
        pairs = itertools.product(range(8), repeat=2)
        wanted = min(heat_load(gear, np.arange(4), rows_of(0, 3, *pair)) for pair in pairs)
        assert load == wanted
        assert heat_load(gear, np.arange(4), best) == wanted
        assert best[:2].tolist() == [0, 3]

    @pytest.mark.parametrize("seed", range(6))
    def test_pilots_of_few_channels_get_the_best_that_enumeration_finds(self, seed):
        gear = gear_of_pilots(5)
        gear.usable[:] = np.random.default_rng(seed).random((5, 8)) < 0.5
        gear.usable[:, 0] = True
        channel, best = rows_of(0, 0, 0, 0, 7), rows_of(9, 9, 9, 9, 9)
        load = improve_free(gear, rows_of(4), rows_of(2, 0, 1, 3), channel, BROKEN, best)
        own = [np.flatnonzero(gear.usable[row]).tolist() for row in range(4)]
        wanted = min(
            (heat_load(gear, np.arange(5), rows_of(*trial, 7)), trial) for trial in itertools.product(*own)
        )
        assert load == pytest.approx(wanted[0], rel=1e-9)
        assert heat_load(gear, np.arange(5), best) == pytest.approx(load, rel=1e-9)
        assert channel.tolist() == [0, 0, 0, 0, 7]

    def test_one_pilot_without_room_leaves_everybody_as_before(self):
        gear = gear_of_pilots(4)._replace(spacing_mhz=38)
        gear.usable[3] = False
        gear.usable[3, 1] = True
        best = rows_of(9, 9, 9, 9)
        load = improve_free(gear, rows_of(0), rows_of(1, 2, 3), rows_of(0, 0, 0, 0), BROKEN, best)
        assert load == BROKEN
        assert best.tolist() == [9, 9, 9, 9]

    def test_only_what_is_below_the_limit_counts(self):
        gear = gear_of_pilots(3)
        best = rows_of(9, 9, 9)
        free = improve_free(gear, rows_of(0), rows_of(1, 2), rows_of(0, 0, 0), math.inf, best)
        again = rows_of(9, 9, 9)
        assert improve_free(gear, rows_of(0), rows_of(1, 2), rows_of(0, 0, 0), free, again) == free
        assert again.tolist() == [9, 9, 9]


class TestFewMoves:
    @pytest.mark.parametrize("stay", [(0, 1, 2, 3), (0, -1, 1, 2), (3, 4, -1, 5), (-1, -1, 0, 1)])
    def test_each_number_of_moves_is_exact(self, stay):
        gear = gear_of_pilots(4)
        moves = moves_of(gear, stay, [True] * 4)
        for moved in range(4):
            found = moves.best(moved + moves.forced, 4)
            assert found.is_exact
            assert found.load == pytest.approx(enumerated(gear, stay, moved), rel=1e-9)
            assert found.channel is not None
            off = sum(keep >= 0 and f != keep for f, keep in zip(found.channel, stay, strict=True))
            assert off <= moved

    def test_who_must_move_is_a_move_and_a_newcomer_is_none(self):
        gear = gear_of_pilots(3)
        moves = moves_of(gear, (0, -1, -1), [True, True, False])
        assert moves.forced == 1
        assert moves.best(0, 3).channel is None
        assert moves.best(0, 3).load == math.inf
        assert moves.best(1, 3).channel[0] == 0

    def test_with_nobody_moved_the_heat_stays_as_it_is(self):
        gear = gear_of_pilots(3)
        found = moves_of(gear, (2, 0, 5)).best(0, 0)
        assert found.channel.tolist() == [2, 0, 5]
        assert found.is_exact

    def test_a_broken_spacing_is_no_answer(self):
        gear = gear_of_pilots(2)
        moves = moves_of(gear, (1, 1))
        assert moves.best(0, 2).channel is None
        assert moves.best(1, 2).channel is not None

    def test_what_is_no_better_than_the_limit_is_a_bound_without_channels(self):
        gear = gear_of_pilots(4)
        best = moves_of(gear, (0, 1, 2, 3)).best(2, 4)
        none = moves_of(gear, (0, 1, 2, 3)).best(2, 4, best.load)
        assert (none.channel, none.load, none.is_exact) == (None, best.load, True)
        some = moves_of(gear, (0, 1, 2, 3)).best(2, 4, best.load * 1.001)
        assert some.load == best.load
        assert some.channel.tolist() == best.channel.tolist()

    def test_a_lower_limit_later_keeps_what_was_found(self):
        gear = gear_of_pilots(4)
        moves, free = moves_of(gear, (0, 1, 2, 3)), moves_of(gear, (0, 1, 2, 3))
        one = moves.best(1, 4)
        assert moves.best(2, 4, one.load).load == free.best(2, 4).load
        least = free.best(2, 4).load / 2
        assert moves.best(3, 4, least).load == least
        assert moves.best(3, 4, least).channel is None
        assert moves.best(-1, 4, least).load == least

    def test_more_moves_than_are_tried_claim_nothing(self):
        gear = gear_of_pilots(4)
        moves = moves_of(gear, (0, 1, 2, 3))
        one, two = moves.best(1, 1), moves.best(2, 1)
        assert one.is_exact
        assert not two.is_exact
        assert two.load == one.load
        assert not moves.best(3, 9).is_exact  # it builds on the one before

    def test_five_who_choose_are_searched_as_a_heat(self):
        gear = gear_of_pilots(5)
        found = moves_of(gear, (-1,) * 5, [False] * 5).best(0, 0)
        assert found.is_exact
        assert found.load == pytest.approx(moves_of(gear, (0, 1, 2, 3, 4)).least_load())

    def test_the_heat_search_keeps_who_is_pinned(self):
        gear = gear_of_pilots(5, RACE[:6])
        moves = moves_of(gear, (-1, -1, -1, -1, 2), [False] * 4 + [True])
        free = moves_of(gear, (-1,) * 5, [False] * 5).best(0, 0)
        stay = moves.best(0, 5)
        assert stay.channel[4] == 2
        assert free.load <= stay.load
        assert moves.best(1, 5).load == pytest.approx(free.load)

    def test_no_channels_beat_the_least_load(self):
        gear = gear_of_pilots(4)
        moves = moves_of(gear, (0, 1, 2, 3))
        assert moves.least_load() == pytest.approx(moves.best(4, 4).load)
        assert moves.least_load() < moves.best(0, 4).load

    def test_a_search_that_is_stopped_claims_nothing(self):
        gear = gear_of_pilots(4)
        moves = moves_of(gear, (0, 1, 2, 3), keep_going=lambda *_told: False)
        assert not moves.best(1, 4).is_exact

    def test_a_transmitter_that_is_down_stays_where_it_is(self):
        gear = gear_of_pilots(3)
        moves = moves_of(gear, (0, 1, 2), [True, True, False])
        assert moves.movable == [0, 1]
        assert moves.best(3, 3).channel[2] == 2
        assert moves.best(3, 3).load == moves.best(2, 3).load

    def test_some_pilots_of_a_day_are_a_heat(self):
        gear = gear_of_pilots(5)
        stay, is_set = rows_of(0, 1, 2, 3, -1), np.array([True, True, True, True, False])
        moves = heat_moves(gear, (1, 4), stay, is_set, 1000, lambda *_told: True)
        found = moves.best(0, 2)
        assert found.channel[0] == 1
        assert found.load == min(heat_load(gear, rows_of(1, 4), rows_of(0, 1, 0, 0, f)) for f in range(8))
