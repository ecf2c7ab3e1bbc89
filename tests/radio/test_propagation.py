import numpy as np
import pytest

from server.radio.propagation import cross_polar_credit_db, free_space_loss_db, own_mismatch_db
from server.radio.site import Receiver

ANTENNAS = ("rhcp", "lhcp", "linear")


def test_loss_grows_6_db_for_twice_the_distance_or_frequency():
    twice = 20 * np.log10(2)
    assert free_space_loss_db(20, 5800) - free_space_loss_db(10, 5800) == pytest.approx(twice)
    assert free_space_loss_db(10, 5800) - free_space_loss_db(10, 2900) == pytest.approx(twice)


def test_loss_of_a_wavelength_is_known():
    # At one wavelength the loss is (4 pi)^2.
    wavelength_m = 299_792_458 / 5.8e9
    assert float(free_space_loss_db(wavelength_m, 5800)) == pytest.approx(21.984, abs=1e-3)


def test_loss_keeps_the_shape_of_the_distances():
    assert free_space_loss_db([[1, 2], [3, 4]], 5800).shape == (2, 2)


@pytest.mark.parametrize("antenna", ANTENNAS)
@pytest.mark.parametrize("rx_antenna", ANTENNAS)
def test_only_opposite_circular_senses_are_credited(antenna, rx_antenna):
    is_opposite = {antenna, rx_antenna} == {"rhcp", "lhcp"}
    expected = 6.0 if is_opposite else 0.0
    assert cross_polar_credit_db(antenna, rx_antenna, Receiver()) == expected


@pytest.mark.parametrize(
    ("antenna", "rx_antenna", "loss_db"),
    [
        ("rhcp", "rhcp", 0.0),
        ("lhcp", "lhcp", 0.0),
        ("linear", "linear", 0.0),
        ("rhcp", "linear", 3.0),
        ("linear", "lhcp", 3.0),
        ("lhcp", "rhcp", 10.0),
        ("rhcp", "lhcp", 10.0),
    ],
)
def test_own_antennas_that_do_not_match_cost(antenna, rx_antenna, loss_db):
    assert own_mismatch_db(antenna, rx_antenna, Receiver()) == loss_db


def test_credits_and_losses_are_those_of_the_receiver():
    receiver = Receiver(cross_polar_db=9, mismatch_linear_db=2, mismatch_opposite_db=15)
    assert cross_polar_credit_db("lhcp", "rhcp", receiver) == 9
    assert own_mismatch_db("lhcp", "rhcp", receiver) == 15
    assert own_mismatch_db("linear", "rhcp", receiver) == 2
