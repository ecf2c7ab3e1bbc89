import pytest

from server.radio.emission import PEAK_DEVIATION_MHZ, TOP_VIDEO_MHZ, carson_bandwidth_mhz


@pytest.mark.parametrize(
    ("peak_deviation_mhz", "top_baseband_mhz", "width_mhz"),
    [
        (4, 5, 18),  # a small video transmitter, picture only
        (4, 6.5, 21),  # the same with a sound subcarrier
        (10.75, 4.2, 29.9),  # a satellite channel
        (0, 5, 10),  # no deviation leaves two sidebands
    ],
)
def test_width_is_twice_deviation_and_top_frequency(peak_deviation_mhz, top_baseband_mhz, width_mhz):
    assert carson_bandwidth_mhz(peak_deviation_mhz, top_baseband_mhz) == pytest.approx(width_mhz)


def test_small_video_transmitters_are_18_mhz_wide():
    assert carson_bandwidth_mhz(PEAK_DEVIATION_MHZ, TOP_VIDEO_MHZ) == 18.0
