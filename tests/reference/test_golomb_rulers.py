"""The mixing code against Golomb rulers.

On a grid of even steps no third-order product of a set falls on a mark exactly when all distances between
marks differ, so the shortest free sets are the optimal Golomb rulers: OEIS A003022, "Length of shortest (or
optimal) Golomb ruler with n marks", a(2) to a(16) = 1, 3, 6, 11, 17, 25, 34, 44, 55, 72, 85, 106, 127, 151, 177.
"""

import itertools

import numpy as np
import pytest

from server.radio.mixing import product_frequency_mhz, third_order_products
from tests.reference.golomb import OPTIMAL_RULERS

A003022 = {2: 1, 3: 3, 4: 6, 5: 11, 6: 17, 7: 25, 8: 34, 9: 44, 10: 55, 11: 72, 12: 85, 13: 106, 14: 127}
A003022 |= {15: 151, 16: 177}


def is_free(marks, step_mhz=1):
    carriers_mhz = 5650 + step_mhz * np.array(marks)
    at = product_frequency_mhz(third_order_products(len(marks)), carriers_mhz)
    return not np.isin(at, carriers_mhz).any()


@pytest.mark.parametrize("marks", OPTIMAL_RULERS, ids=len)
def test_optimal_rulers_have_the_published_length(marks):
    distances = [b - a for a, b in itertools.combinations(marks, 2)]
    assert len(set(distances)) == len(distances)
    assert max(distances) == A003022[len(marks)]


@pytest.mark.parametrize("step_mhz", [1, 5, 37])
@pytest.mark.parametrize("marks", OPTIMAL_RULERS, ids=len)
def test_no_product_of_an_optimal_ruler_falls_on_a_mark(marks, step_mhz):
    assert is_free(marks, step_mhz)


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_no_shorter_set_is_free(count):
    products = third_order_products(count)
    for length in range(count - 1, A003022[count]):
        for between in itertools.combinations(range(1, length), count - 2):
            marks = np.array((0, *between, length))
            assert np.isin(product_frequency_mhz(products, marks), marks).any(), marks


def test_every_small_set_is_free_exactly_when_its_distances_differ():
    for count in (2, 3, 4, 5):
        for marks in itertools.combinations(range(11), count):
            distances = [b - a for a, b in itertools.combinations(marks, 2)]
            assert is_free(marks) == (len(set(distances)) == len(distances)), marks


def test_testing_two_signal_products_alone_is_not_enough():
    marks = np.array((0, 1, 3, 4))
    products = third_order_products(4)
    on_a_mark = np.isin(product_frequency_mhz(products, marks), marks)
    assert not on_a_mark[~products.is_three_signal].any()
    assert on_a_mark[products.is_three_signal].any()
