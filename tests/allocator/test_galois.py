"""Finite fields by their axioms (Lidl and Niederreiter, Finite Fields, chapter 1), and products of them."""

import numpy as np
import pytest

from server.allocator.galois import ring

PRIME_POWERS = (2, 3, 4, 5, 7, 8, 9, 11, 13, 16, 25, 27)


@pytest.mark.parametrize("size", [1, 6, 10, 12, *PRIME_POWERS])
def test_sums_and_products_keep_the_laws_of_a_ring(size):
    numbers = ring(size)
    plus, times = numbers.plus, numbers.times
    assert (plus == plus.T).all()
    assert (times == times.T).all()
    assert plus[0].tolist() == list(range(size))
    assert sorted(plus[size - 1].tolist()) == list(range(size))
    x, y, z = np.meshgrid(*[np.arange(size)] * 3, indexing="ij")
    assert (plus[plus[x, y], z] == plus[x, plus[y, z]]).all()
    assert (times[times[x, y], z] == times[x, times[y, z]]).all()
    assert (times[x, plus[y, z]] == plus[times[x, y], times[x, z]]).all()


@pytest.mark.parametrize("size", PRIME_POWERS)
def test_in_a_field_everything_but_zero_can_be_divided_by(size):
    numbers = ring(size)
    assert numbers.times[1].tolist() == list(range(size))
    for number in range(1, size):
        assert sorted(numbers.times[number].tolist()) == list(range(size))
    assert numbers.diagonal == tuple(range(size))


def test_four_is_no_clock_of_four_hours():
    # In the field of four elements everything is its own opposite, and x times x is x + 1.
    numbers = ring(4)
    assert numbers.plus.diagonal().tolist() == [0, 0, 0, 0]
    assert (numbers.times[2, 2], numbers.times[2, 3], numbers.times[3, 3]) == (3, 1, 2)


@pytest.mark.parametrize(("size", "reach"), [(1, 1), (6, 2), (10, 2), (12, 3), (15, 3), (20, 4), (24, 3)])
def test_where_there_is_no_field_the_smallest_prime_power_is_how_far_division_reaches(size, reach):
    numbers = ring(size)
    assert len(numbers.diagonal) == len(set(numbers.diagonal)) == reach
    minus = {(int(numbers.plus[x, y]), y): x for x in range(size) for y in range(size)}
    for one in numbers.diagonal:
        for other in numbers.diagonal:
            if one != other:
                assert len(set(numbers.times[minus[one, other]].tolist())) == size
