import numpy as np
import pytest

from server.radio.receiver import (
    FM_THRESHOLD_DB,
    block_protection_db,
    compression_level_dbm,
    link_margin_db,
    noise_level_dbm,
    protection_ratio_db,
)
from server.radio.site import Receiver
from tests.radio import slow_model


@pytest.mark.parametrize(
    ("offset_mhz", "ratio_db"),
    [(0, 28.0), (8, 28.0), (10, 23.47), (15, 13.09), (20, 7.32), (30, -11.62), (37, -25.62), (40, -28.0)],
)
def test_protection_ratio_at_whole_offsets(offset_mhz, ratio_db):
    assert float(protection_ratio_db(offset_mhz)) == pytest.approx(ratio_db, abs=1e-9)


def test_protection_ratio_is_that_of_the_slow_model_on_both_sides():
    offsets = np.arange(-80.0, 80.0, 0.13)
    for floor_db in (-28.0, -40.0, 0.0):
        expected = [slow_model.needed_db(float(x), floor_db) for x in offsets]
        assert protection_ratio_db(offsets, floor_db) == pytest.approx(expected)


def test_protection_ratio_meets_its_floor_at_38_19_mhz():
    assert float(protection_ratio_db(38.18)) > -28.0
    assert float(protection_ratio_db(38.20)) == -28.0


def test_protection_ratio_steps_down_at_the_published_breakpoints():
    # The pieces meet within 0.006 dB, so which of them holds at a breakpoint shows in the third decimal.
    at_breakpoints = [float(ratio) for ratio in protection_ratio_db([8.36, 12.87, 21.25])]
    assert at_breakpoints == pytest.approx([28.0, 15.54306, 5.8775], abs=1e-6)


def test_noise_of_a_receiver():
    assert noise_level_dbm(27, 6) == pytest.approx(-93.66, abs=0.005)
    assert noise_level_dbm(27, 9) - noise_level_dbm(27, 6) == pytest.approx(3.0)
    assert noise_level_dbm(54, 6) - noise_level_dbm(27, 6) == pytest.approx(3.0103, abs=1e-4)


def test_link_margin_is_what_stands_above_noise_and_threshold():
    threshold_dbm = noise_level_dbm(27, 6) + FM_THRESHOLD_DB
    assert link_margin_db([threshold_dbm, threshold_dbm + 7], Receiver()).tolist() == pytest.approx(
        [0.0, 7.0]
    )
    assert FM_THRESHOLD_DB == 10.0


def test_compression_lies_9_64_db_below_the_intercept_point():
    assert compression_level_dbm(-10) == pytest.approx(-19.64, abs=0.005)


def test_a_cubic_device_has_lost_one_decibel_at_the_compression_level():
    # y = x - k x^3 with k = 2 / (3 iip3) for powers of A^2 / 2: the gain at amplitude A is 1 - 3/4 k A^2.
    iip3_mw, level_mw = 0.1, 10 ** (compression_level_dbm(-10) / 10)
    gain = 1 - 0.75 * (2 / (3 * iip3_mw)) * 2 * level_mw
    assert 20 * np.log10(gain) == pytest.approx(-1.0, abs=1e-9)


class TestBlocks:
    def test_a_block_without_width_is_a_carrier(self):
        offsets = np.arange(-60.0, 60.0, 0.7)
        assert block_protection_db(offsets, 0.0) == pytest.approx(protection_ratio_db(offsets))

    @pytest.mark.parametrize("width_mhz", [5.0, 20.0, 27.0, 80.0])
    def test_a_block_is_the_mean_over_its_parts(self, width_mhz):
        for offset_mhz in (0.0, 12.5, -30.0):
            edges = np.linspace(offset_mhz - width_mhz / 2, offset_mhz + width_mhz / 2, 40_001)
            inside = (edges[1:] + edges[:-1]) / 2
            mean = np.mean(10 ** (protection_ratio_db(inside) / 10))
            assert float(block_protection_db(offset_mhz, width_mhz)) == pytest.approx(
                10 * np.log10(mean), abs=1e-3
            )

    def test_a_narrow_block_right_on_a_channel_counts_in_full_and_a_wide_one_by_its_part(self):
        assert float(block_protection_db(0, 16)) == pytest.approx(28)
        # Of 160 MHz some 25 lie within the receiver's window.
        assert float(block_protection_db(0, 160)) == pytest.approx(28 + 10 * np.log10(20.3 / 160), abs=0.2)

    def test_far_off_it_is_at_the_floor_that_is_asked_for(self):
        assert float(block_protection_db(100, 80, -40.0)) == pytest.approx(-40)
