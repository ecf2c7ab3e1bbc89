"""Rounds without repeated pairings, by the axioms of a resolvable transversal design.

Colbourn and Dinitz, Handbook of Combinatorial Designs, III.3: a TD(k, n) has k groups of n points and n^2 blocks
of k points; a block takes one point of each group, and two points of different groups are in exactly one block. It
is resolvable where its blocks fall into n classes that hold every point once.
"""

from itertools import combinations

import numpy as np
import pytest

from server.allocator.designs import places_by_channel, places_by_rank, turned

PRIME_POWERS = (2, 3, 4, 5, 7, 8, 9, 11, 13, 16)


def rounds_of(heats, places, count):
    """Heats of every pilot in ``count`` rounds; a pilot for each heat and place of the first."""
    heat_of, place = np.arange(heats * places) % heats, np.arange(heats * places) // heats
    return place, [turned(heat_of, place, heats, turn) for turn in range(count)]


@pytest.mark.parametrize("heats", PRIME_POWERS)
def test_the_rounds_of_a_prime_power_are_a_resolvable_transversal_design(heats):
    place, rounds = rounds_of(heats, heats, heats)
    blocks = [np.flatnonzero(one == heat) for one in rounds for heat in range(heats)]
    assert all(sorted(place[block].tolist()) == list(range(heats)) for block in blocks)
    met = np.zeros((len(place), len(place)), dtype=int)
    for block in blocks:
        met[np.ix_(block, block)] += 1
    assert all(met[x, y] == (place[x] != place[y]) for x, y in combinations(range(len(place)), 2))


@pytest.mark.parametrize(("heats", "reach"), [(6, 2), (10, 2), (12, 3), (15, 3), (20, 4)])
def test_elsewhere_as_many_places_and_rounds_as_the_smallest_prime_power_meet_nobody_twice(heats, reach):
    _, rounds = rounds_of(heats, reach, reach)
    met = sum((one[:, np.newaxis] == one[np.newaxis, :]).astype(int) for one in rounds)
    assert met[~np.eye(len(met), dtype=bool)].max() == 1
    assert all(np.bincount(one).tolist() == [reach] * heats for one in rounds)


@pytest.mark.parametrize("heats", [1, 4, 6])
def test_more_places_and_rounds_than_heats_still_deal_everybody_evenly(heats):
    _, rounds = rounds_of(heats, 8, 9)
    assert all(np.bincount(one).tolist() == [8] * heats for one in rounds)


def test_no_turn_is_the_first_round_and_who_sits_out_stays_out():
    heat_of, place = np.array([0, -1, 2, 1]), np.array([3, 1, 2, 1])
    assert turned(heat_of, place, 3, 0).tolist() == [0, -1, 2, 1]
    assert turned(heat_of, place, 3, 1).tolist() == [0, -1, 1, 2]


def test_places_go_by_the_channels_of_the_day_or_by_their_order_in_the_heat():
    heat_of = np.array([0, 0, 0, 1, 1, 1, -1])
    channel = np.array([9, 2, 5, 5, 7, 2, 30])
    assert places_by_channel(channel).tolist() == [3, 0, 1, 1, 2, 0, 4]
    assert places_by_rank(heat_of, channel, 3).tolist() == [2, 0, 1, 1, 2, 0, 0]


def test_the_pilots_of_a_smaller_heat_are_spread_over_all_places():
    assert places_by_rank(np.array([0, 0]), np.array([4, 1]), 4).tolist() == [2, 0]
