"""How items are parted into heats: found where there is a way, compositions kept, nothing left over."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator.compositions import kinds_by_radiation
from server.allocator.partings import parting_of, trimmed
from server.allocator.problem import DayProblem
from server.allocator.schedule import pairs
from server.allocator.scoring import day_gear
from tests.allocator.days import equal_pilots


def parted(counts, compositions, heats):
    others = np.array([others for _, others in compositions], dtype=np.int64).reshape(len(compositions), -1)
    return parting_of(counts, others, np.array([crowd for crowd, _ in compositions]), heats)


@pytest.mark.parametrize(
    ("counts", "compositions", "heats", "is_possible"),
    [
        ((6,), [(3, ())], 2, True),
        ((7,), [(3, ())], 2, False),
        ((6, 2), [(3, (0,)), (0, (2,))], 3, True),
        ((6, 2), [(3, (0,)), (0, (1,))], 3, False),  # the rarer two need a heat each
        ((6, 2), [(3, (0,)), (0, (1,))], 4, True),
        ((4, 1, 1), [(3, (0, 0)), (1, (1, 1))], 2, True),
        ((4, 1, 1), [(3, (0, 0)), (2, (1, 0)), (2, (0, 1))], 2, True),
        ((5, 1, 1), [(3, (0, 0)), (2, (1, 0)), (2, (0, 1))], 2, False),
        ((0, 2), [(3, (0,)), (0, (1,))], 2, True),
    ],
)
def test_a_parting_is_found_where_there_is_one(counts, compositions, heats, is_possible):
    found = parted(counts, compositions, heats)
    assert (found is not None) == is_possible
    if found is not None:
        assert len(found) == heats
        allowed = {(crowd, *others) for crowd, others in compositions}
        assert {tuple(heat) for heat in found} <= allowed
        assert (np.sum(found, axis=0) >= counts).all()


def kinds_of(count_25, count_200, **wish):
    pilots = list(equal_pilots(count_25 + count_200))
    pilots[0] = replace(pilots[0], **wish)
    day = DayProblem(tuple(pilots))
    powers = [25.0] * count_25 + [200.0] * count_200
    gear = day_gear(day, powers)
    return kinds_by_radiation(gear, range(len(pilots)), pairs(day, "together"), pairs(day, "apart"), 99)


def test_nobody_is_seated_twice():
    found = trimmed([[3, 0], [3, 0], [0, 3]], kinds_of(5, 2), 2)
    assert found == ((3, 0), (2, 0), (0, 2))


def test_the_fullest_heat_gives_a_seat_up_and_none_sinks_below_the_least():
    assert trimmed([[4, 0], [2, 1]], kinds_of(5, 1), 3) == ((3, 0), (2, 1))
    assert trimmed([[3], [3]], kinds_of(5, 0), 3) == ((3,), (3,))


def test_an_item_of_several_pilots_counts_as_that_many():
    kinds = kinds_of(3, 1, together=frozenset({"P03"}))
    assert kinds.counts == (2, 1)
    # The heat of four gives up first, then the other; the one that then holds more loses the block of two.
    assert trimmed([[2, 1], [1, 1]], kinds, 0) == ((1, 1), (1, 0))
    assert trimmed([[2, 1], [1, 1]], kinds, 2) == ((1, 1), (1, 1))
