"""Descents end where nobody gains by a move, and say where rules stay broken."""

import itertools

import numpy as np
import pytest

from server.allocator import kernel
from server.allocator.descent import BROKEN, descend
from server.allocator.kernel import STRESSED, WORST
from server.allocator.sums import new_sums, rows_of
from tests.allocator.mixes import equal_pilots, mix, usual_mhz

BAND_R_MHZ = tuple(range(5658, 5918, 37))
HEATS = [mix(seed, 2 + seed % 3, 7) for seed in range(14)]


def loads(gear, channel):
    load, stressed = np.empty(len(channel)), np.empty(len(channel))
    kernel.heat_loads(gear, np.arange(len(channel)), gear.mhz[channel], load, stressed)
    return load, stressed


def descended(gear, start, goal=WORST, limit=np.inf):
    channel = np.array(start)
    return descend(gear, rows_of(gear), new_sums(gear), channel, goal, limit), channel


def is_spaced(gear, channel):
    apart = np.abs(np.subtract.outer(gear.mhz[channel], gear.mhz[channel]))
    return bool((apart[~np.eye(len(channel), dtype=bool)] >= gear.spacing_mhz).all())


@pytest.mark.parametrize("heat", HEATS, ids=range(len(HEATS)))
def test_descent_ends_where_no_single_move_helps(heat):
    gear = heat.gear
    value, channel = descended(gear, [np.flatnonzero(own)[0] for own in gear.usable])
    if value >= BROKEN:
        assert not is_spaced(gear, channel)
        return
    assert value == pytest.approx(loads(gear, channel)[0].max())
    for pilot, f in itertools.product(range(len(channel)), range(len(gear.mhz))):
        moved = channel.copy()
        moved[pilot] = f
        if gear.usable[pilot, f] and is_spaced(gear, moved):
            assert loads(gear, moved)[0].max() >= value * (1 - 1e-8)


def test_descent_gives_everybody_a_channel_they_can_use():
    for heat in HEATS:
        _, channel = descended(heat.gear, [np.flatnonzero(own)[-1] for own in heat.gear.usable])
        assert heat.gear.usable[np.arange(len(channel)), channel].all()


def test_descent_never_ends_above_its_start():
    gear = equal_pilots(5, usual_mhz(), 200).gear
    for start in np.random.default_rng(1).permuted(np.tile(np.arange(0, 35, 7), (8, 1)), axis=1):
        assert descended(gear, start)[0] <= loads(gear, start)[0].max() * (1 + 1e-9)


def test_descent_of_the_stressed_load_stays_within_the_limit():
    gear = mix(8, 4, 10).gear
    least, channel = descended(gear, [np.flatnonzero(own)[0] for own in gear.usable])
    limit = least * 1.2
    stressed, channel = descended(gear, channel, STRESSED, limit)
    load, stressed_load = loads(gear, channel)
    assert load.max() <= limit
    assert stressed_load.max() == pytest.approx(stressed)


def test_descent_says_where_rules_stay_broken():
    assert descended(equal_pilots(2, (5800, 5810)).gear, [0, 1])[0] >= BROKEN


def test_each_pair_that_stays_too_near_counts():
    value, _ = descended(equal_pilots(3, (5800, 5810)).gear, [0, 1, 1])
    assert 3 * BROKEN <= value < 4 * BROKEN


def test_descent_takes_the_least_spacing_for_enough():
    value, channel = descended(equal_pilots(2, (5800, 5820)).gear, [0, 0])
    assert value < BROKEN
    assert sorted(channel.tolist()) == [0, 1]


def test_descent_of_the_stressed_load_leaves_broken_rules_behind():
    gear = equal_pilots(3, BAND_R_MHZ).gear
    limit = loads(gear, np.array([0, 3, 7]))[0].max() * 1.01
    stressed, channel = descended(gear, [4, 4, 4], STRESSED, limit)
    load, stressed_load = loads(gear, channel)
    assert load.max() <= limit
    assert stressed_load.max() == pytest.approx(stressed)


def test_descent_beyond_the_limit_counts_as_broken():
    gear = equal_pilots(2, (5800, 5820)).gear
    limit = loads(gear, np.array([0, 1]))[0].max()
    assert descended(gear, [0, 1], STRESSED, limit * 1.001)[0] < BROKEN
    assert descended(gear, [0, 1], STRESSED, limit * 0.999)[0] >= BROKEN
