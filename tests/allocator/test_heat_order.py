"""The order of the heats of a round: allowed places first, then waiting evened out, against every order."""

from itertools import permutations

import numpy as np
import pytest

from server.allocator.heat_order import cheapest_matching, reordered


@pytest.mark.parametrize("seed", range(30))
def test_a_matching_is_the_cheapest_of_all(seed):
    dice = np.random.default_rng(seed)
    count = int(dice.integers(1, 6))
    cost = dice.integers(-9, 20, (count, count)).astype(float)
    found = cheapest_matching(cost)
    assert sorted(found.tolist()) == list(range(count))
    sums = [cost[range(count), order].sum() for order in map(list, permutations(range(count)))]
    assert cost[range(count), found].sum() == min(sums)


def test_a_heat_goes_where_all_of_it_may_fly():
    allowed = np.array([[1, 1, 0], [1, 1, 1], [0, 1, 1], [1, 1, 1]], dtype=bool)
    # Heat 2 holds the first pilot, heat 0 the third.
    found = reordered(np.array([2, 2, 0, 1]), np.full(4, -1), allowed)
    assert all(allowed[pilot, found[pilot]] for pilot in range(4))
    assert found[0] == found[1]
    assert sorted(found[[0, 2, 3]].tolist()) == [0, 1, 2]


def test_waiting_is_evened_out():
    # Whoever flew first flies first again: three heats between flights for everybody.
    before = np.array([0, 1, 2])
    assert reordered(np.array([2, 0, 1]), before, np.ones((3, 3), dtype=bool)).tolist() == [0, 1, 2]


@pytest.mark.parametrize("seed", range(10))
def test_the_sum_of_squared_waiting_is_the_least_of_all_orders(seed):
    dice = np.random.default_rng(seed)
    before, heat_of = (
        dice.permutation(np.repeat(np.arange(4), 3)),
        dice.permutation(np.repeat(np.arange(4), 3)),
    )
    found = reordered(heat_of, before, np.ones((12, 4), dtype=bool))

    def waiting(order):
        return ((4 + np.array(order)[heat_of] - before) ** 2).sum()

    assert ((4 + found - before) ** 2).sum() == min(map(waiting, permutations(range(4))))
    assert len({(one, other) for one, other in zip(heat_of, found, strict=True)}) == 4


def test_who_sits_out_stays_out_and_who_sat_out_has_not_waited():
    found = reordered(np.array([0, 1, -1]), np.array([-1, 0, 1]), np.ones((3, 2), dtype=bool))
    assert found.tolist() == [1, 0, -1]
