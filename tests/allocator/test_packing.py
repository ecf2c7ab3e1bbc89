"""Room side by side, against looking at every way to stand."""

import itertools

import numpy as np
import pytest

from server.allocator import packing
from server.allocator.packing import steps_of
from tests.allocator.called import called
from tests.allocator.mixes import equal_pilots, usual_mhz

keep_room, least_distance_mhz = called(packing.keep_room), called(packing.least_distance_mhz)

GEAR = equal_pilots(2, usual_mhz()[::3]).gear


def drawn(seed):
    """A few pilots with some channels each and a distance for every pair."""
    draw = np.random.default_rng(seed)
    count = int(draw.integers(2, 5))
    live = draw.random((count, len(GEAR.mhz))) < draw.choice([0.3, 0.6, 1.0])
    needed = draw.choice([20, 25, 30, 39], (count, count))
    return live, np.maximum(needed, needed.T)


def side_by_side(live, distance_mhz):
    """Channels that somebody has in some order from low to high with every neighbour far enough away."""
    count = len(live)
    kept = np.zeros_like(live)
    own = [np.flatnonzero(row) for row in live]
    for order in itertools.permutations(range(count)):
        for chosen in itertools.product(*(own[pilot] for pilot in order)):
            gaps = np.diff(GEAR.mhz[list(chosen)])
            if all(
                gap >= distance_mhz[x, y] for gap, (x, y) in zip(gaps, itertools.pairwise(order), strict=True)
            ):
                kept[list(order), list(chosen)] = True
    return kept


@pytest.mark.parametrize("seed", range(60))
def test_what_is_kept_is_what_stands_in_some_order(seed):
    live, distance_mhz = drawn(seed)
    expected = side_by_side(live, distance_mhz)
    has_room = keep_room(steps_of(GEAR), live, distance_mhz)
    assert has_room == bool(expected.any(axis=1).all())
    if has_room:
        assert live.tolist() == expected.tolist()


def test_the_draws_leave_room_and_none():
    verdicts = {keep_room(steps_of(GEAR), *drawn(seed)) for seed in range(60)}
    assert verdicts == {True, False}


def test_steps_lead_to_the_nearest_channel_that_is_far_enough():
    steps = steps_of(GEAR)
    mhz = GEAR.mhz
    assert len(steps.up) == len(steps.down) == max(len(GEAR.protection), GEAR.spacing_mhz + 1)
    for distance, f in itertools.product(range(len(steps.up)), range(len(mhz))):
        above = [g for g in range(len(mhz)) if mhz[g] >= mhz[f] + distance]
        below = [g for g in range(len(mhz)) if mhz[g] <= mhz[f] - distance]
        assert steps.up[distance, f] == (above[0] if above else len(mhz))
        assert steps.down[distance, f] == (below[-1] + 1 if below else 0)


def test_steps_reach_as_far_as_a_wide_spacing():
    gear = equal_pilots(2, usual_mhz(), spacing_mhz=60).gear
    assert len(steps_of(gear).up) == 61


@pytest.mark.parametrize("spare_db", [-60, -30, -10, 0, 10, 40])
def test_the_least_distance_is_the_first_at_which_a_carrier_is_bearable(spare_db):
    excess = GEAR.protection - GEAR.protection[-1]
    spare = 10 ** (spare_db / 10)
    bearable = [offset for offset in range(20, len(excess)) if excess[offset] <= spare]
    assert least_distance_mhz(GEAR, spare, 1.0) == bearable[0]


def test_no_distance_is_below_the_spacing():
    assert least_distance_mhz(GEAR, 1e9, 1.0) == GEAR.spacing_mhz
    assert least_distance_mhz(GEAR._replace(spacing_mhz=60), 0.0, 1.0) == 60
