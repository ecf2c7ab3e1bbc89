"""The tool over every pair of channels; `tests/benchmarks/picture_check.py` plays each of them many times."""

import numpy as np
import pytest

from server.radio.channel_finding import MOST_READINGS
from tests.radio.picture_checks import pairs, play


@pytest.fixture(scope="module")
def played():
    random = np.random.default_rng(4)
    return [play(truth, claimed, random) for truth, claimed in pairs()]


def test_at_least_95_in_100_are_found_within_3_mhz(played):
    assert sum(one.is_found for one in played) >= 0.95 * len(played)


def test_at_most_1_in_100_is_wrong_and_sure(played):
    assert sum(one.is_wrong_and_sure for one in played) <= 0.01 * len(played)


def test_most_are_sure_so_that_it_is_not_bought_by_doubt(played):
    assert sum(one.verdict != "in doubt" for one in played) >= 0.85 * len(played)


def test_nobody_is_asked_for_more_than_four_readings_or_twice_for_one(played):
    for one in played:
        tunings = [reading.tuned_mhz for reading in one.readings]
        assert len(set(tunings)) == len(tunings) <= MOST_READINGS == 4
