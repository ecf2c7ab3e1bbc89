import itertools

import numpy as np
import pytest

from server.radio.mixing import (
    THREE_SIGNAL_DB,
    product_frequency_mhz,
    product_level_dbm,
    third_order_products,
)


def names(products):
    return [
        (int(a), int(b), int(c))
        for a, b, c in zip(products.first, products.second, products.minus, strict=True)
    ]


@pytest.mark.parametrize("count", range(13))
def test_number_of_products(count):
    # n (n - 1) with two signals, n (n - 1) (n - 2) / 2 with three.
    three = third_order_products(count).is_three_signal
    assert int((~three).sum()) == count * (count - 1)
    assert int(three.sum()) == count * (count - 1) * (count - 2) // 2


def test_products_of_three_carriers_are_all_nine_each_once():
    assert names(third_order_products(3)) == [
        (0, 0, 1),
        (0, 0, 2),
        (1, 1, 0),
        (1, 1, 2),
        (2, 2, 0),
        (2, 2, 1),
        (0, 1, 2),
        (0, 2, 1),
        (1, 2, 0),
    ]


def test_a_carrier_is_never_added_and_taken_away():
    for a, b, c in names(third_order_products(6)):
        assert c not in (a, b)
        assert a <= b


def test_frequencies_of_products():
    products = third_order_products(3)
    at = product_frequency_mhz(products, [5658, 5695, 5769])
    assert at.tolist() == [5621, 5547, 5732, 5621, 5880, 5843, 5584, 5732, 5806]


def test_level_falls_by_2_db_for_each_db_of_intercept_and_grows_3_db_with_all_carriers():
    products = third_order_products(3)
    level = product_level_dbm(products, [-30.0, -35.0, -40.0], -10.0)
    assert product_level_dbm(products, [-30.0, -35.0, -40.0], -9.0) == pytest.approx(level - 2.0)
    assert product_level_dbm(products, [-29.0, -34.0, -39.0], -10.0) == pytest.approx(level + 3.0)


def test_levels_keep_the_rows_of_the_receivers():
    products = third_order_products(3)
    heard = np.array([[-30.0, -35.0, -40.0], [-50.0, -50.0, -50.0]])
    level = product_level_dbm(products, heard, -10.0)
    assert level.shape == (2, 9)
    assert level[1].tolist() == pytest.approx([-130.0] * 6 + [-130.0 + THREE_SIGNAL_DB] * 3)


def spectrum_dbm(mhz, level_dbm, iip3_dbm):
    """Levels at every whole MHz after y = x - k x^3, seen by a Fourier transform.

    One second of signal stands for one microsecond, so that a bin is 1 MHz; 65 536 samples keep the third
    harmonics below half the sampling rate. A tone of amplitude A has A^2 / 2 mW, so k = 2 / (3 iip3_mw).
    """
    samples = 65_536
    time = np.arange(samples) / samples
    amplitude = np.sqrt(2 * 10 ** (np.array(level_dbm) / 10))
    signal = sum(a * np.cos(2 * np.pi * f * time) for a, f in zip(amplitude, mhz, strict=True))
    distorted = signal - 2 / (3 * 10 ** (iip3_dbm / 10)) * signal**3
    power_mw = 2 * np.abs(np.fft.rfft(distorted) / samples) ** 2
    return 10 * np.log10(power_mw + 1e-40)


@pytest.mark.parametrize(
    ("mhz", "level_dbm", "iip3_dbm"),
    [
        ((5658, 5700, 5769), (-50.0, -50.0, -50.0), -10.0),  # equal carriers
        ((5658, 5700, 5769), (-30.0, -35.0, -40.0), -10.0),  # unequal ones
        ((5917, 5732, 5665), (-36.2, -49.8, -44.1), -15.0),  # in no order, a poor receiver
        ((5740, 5760, 5820), (-60.0, -41.0, -52.5), 3.0),
    ],
)
def test_products_are_those_of_a_cubic_nonlinearity(mhz, level_dbm, iip3_dbm):
    spectrum = spectrum_dbm(mhz, level_dbm, iip3_dbm)
    products = third_order_products(3)
    at = product_frequency_mhz(products, mhz)
    level = product_level_dbm(products, level_dbm, iip3_dbm)
    # Two products of these carriers may fall on one frequency in no case, or a bin would hold both.
    assert len(set(at.tolist())) == 9
    assert spectrum[at] == pytest.approx(level, abs=0.01)


def test_a_cubic_nonlinearity_makes_no_other_products_near_the_carriers():
    mhz = (5658, 5700, 5769)
    spectrum = spectrum_dbm(mhz, (-50.0,) * 3, -10.0)
    heard = {int(f) for f in np.flatnonzero(spectrum > -160.0) if 5300 < f < 6100}
    assert heard == set(mhz) | set(product_frequency_mhz(third_order_products(3), mhz).tolist())


def test_relabelling_carriers_only_relabels_products():
    mhz, level_dbm = (5658, 5695, 5769, 5843), (-30.0, -41.0, -35.0, -52.0)
    products = third_order_products(4)

    def found(order):
        at = product_frequency_mhz(products, [mhz[x] for x in order])
        level = product_level_dbm(products, [level_dbm[x] for x in order], -10.0)
        return sorted(zip(at.tolist(), level.round(9).tolist(), strict=True))

    assert all(found(order) == found(range(4)) for order in itertools.permutations(range(4)))
