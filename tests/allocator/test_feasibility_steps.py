"""The search for a round of heats step by step: who is placed next, and with how long a breath it begins anew."""

import numpy as np
import pytest

from server.allocator.feasibility import (
    UndecidedError,
    _is_crowded,
    _most_spaced,
    _RoundSearch,
    channels_of_round,
    find_round,
)
from tests.allocator.test_feasibility import plain_rules


def placed_in_order(monkeypatch, search, node_limit=100):
    order = []
    add = search._add
    monkeypatch.setattr(search, "_add", lambda number, heat: order.append(number) or add(number, heat))
    assert search.run(node_limit) is not None
    return order


def test_who_was_left_without_a_heat_once_counts_as_if_half_as_many_fitted(monkeypatch):
    # P0 fits in two heats, P1 in three: half of three is less than two.
    allowed = np.array([[1, 1, 0], [1, 1, 1], [1, 1, 1]], dtype=bool)
    search = _RoundSearch(plain_rules(3, 3, allowed=allowed))
    assert placed_in_order(monkeypatch, search) == [0, 1, 2]
    again = _RoundSearch(plain_rules(3, 3, allowed=allowed))
    again.weights[1] += 1
    assert placed_in_order(monkeypatch, again) == [1, 0, 2]


def test_each_block_left_without_a_heat_weighs_one_more():
    # P1 and P2 have P0's only channel, and one heat: wherever P0 goes, nobody else has a place.
    search = _RoundSearch(plain_rules(3, 1, choices=[(5700,), (5700,), (5700,)]))
    search.members, search.open = [[]], {1, 2}
    search.fits = [[True], [True], [True]]
    search._add(0, 0)
    assert search.weights == [1, 2, 2]
    assert search.fits[1:] == [[False], [False]]


def test_who_is_left_with_another_heat_weighs_as_before():
    search = _RoundSearch(plain_rules(2, 2, choices=[(5700,), (5700,)]))
    search.members, search.open = [[], []], {1}
    search.fits = [[True, True], [True, True]]
    before = search._add(0, 0)
    assert (search.weights, search.fits[1], search.members) == ([1, 1], [False, True], [[0], []])
    search._take_back(0, 0, before)
    assert (search.fits[1], search.members) == ([True, True], [[], []])


@pytest.mark.parametrize(
    ("node_limit", "shares"),
    [
        (20_000, [1_000, 2_000, 4_000, 8_000, 5_000]),
        (1_000, [1_000]),
        (1_001, [1_000, 1]),
        (3_000, [1_000, 2_000]),
        (500, [500]),
    ],
)
def test_a_search_begins_anew_with_twice_the_breath_until_its_nodes_are_spent(
    monkeypatch, node_limit, shares
):
    asked = []

    def run(_search, nodes):
        asked.append(nodes)
        raise UndecidedError

    monkeypatch.setattr(_RoundSearch, "run", run)
    with pytest.raises(UndecidedError):
        find_round(plain_rules(2, 2), node_limit)
    assert asked == shares
    asked.clear()
    with pytest.raises(UndecidedError):
        find_round(plain_rules(2, 2))
    assert sum(asked) == 20_000


def test_a_share_that_suffices_is_the_answer(monkeypatch):
    answers = iter([UndecidedError, [1, 0]])

    def run(_search, _nodes):
        answer = next(answers)
        if answer is UndecidedError:
            raise answer
        return answer

    monkeypatch.setattr(_RoundSearch, "run", run)
    assert find_round(plain_rules(2, 2)) == [1, 0]


@pytest.mark.parametrize(
    ("mhz", "spacing_mhz", "most"),
    [
        (set(), 20, 0),
        ({5700}, 20, 1),
        ({5700, 5719}, 20, 1),
        ({5700, 5720}, 20, 2),
        ({5700, 5710, 5720, 5730}, 20, 2),
        ({5700, 5715, 5725, 5740, 5745}, 20, 3),
        ({5700, 5701}, 1, 2),
        ({5700, 5701}, 0, float("inf")),
    ],
)
def test_so_many_of_some_channels_fit_into_one_heat(mhz, spacing_mhz, most):
    assert _most_spaced(mhz, spacing_mhz) == most


@pytest.mark.parametrize(
    ("choices", "heats", "is_crowded"),
    [
        ([(5700,)] * 3, 2, True),
        ([(5700,)] * 2, 2, False),
        ([(5700, 5720)] * 4, 2, False),
        ([(5700, 5720)] * 5, 2, True),
        # A range above a lower channel that somebody has: only those who have nothing below it are counted.
        ([(5658,), *[(5700,)] * 3], 2, True),
        ([(5658, 5700), *[(5700,)] * 2], 2, False),
        # Three in the lower part, whatever the others have above.
        ([(5700,), (5700, 5710), (5705,), (5700, 5900), (5900,)], 2, True),
        ([None, None, None, (5700,)], 1, False),
        ([(), (5700,)], 1, False),
    ],
)
def test_a_range_of_channels_is_crowded_beyond_what_all_heats_hold(choices, heats, is_crowded):
    assert _is_crowded(plain_rules(len(choices), heats, choices=choices)) is is_crowded


def test_channels_of_a_round_are_spaced_in_every_heat():
    rules = plain_rules(5, 2, choices=[(5700, 5720), (5700,), None, (5700, 5800), (5700,)])
    assert channels_of_round(rules, [0, 0, 0, 1, 1]) == [5720, 5700, None, 5800, 5700]
