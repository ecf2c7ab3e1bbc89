import math

import pytest

from server.radio.errors import SiteError
from server.radio.outside import STRONGEST_DBM, WEAKEST_DBM, WIDEST_MHZ, OutsideSignal, wifi_block


class TestSignal:
    def test_a_sentence_names_it_by_its_frequency_or_by_its_name(self):
        assert OutsideSignal(5745, 20, -70).words == "the outside signal at 5745 MHz"
        assert OutsideSignal(5745.5, 20, -70).words == "the outside signal at 5745.5 MHz"
        assert OutsideSignal(5745, 20, -70, "Otter's other video").words == "Otter's other video"

    @pytest.mark.parametrize(
        ("name", "values"),
        [
            ("centre_mhz", (999, 20, -70)),
            ("centre_mhz", (10001, 20, -70)),
            ("centre_mhz", (math.nan, 20, -70)),
            ("centre_mhz", (True, 20, -70)),
            ("width_mhz", (5745, -1, -70)),
            ("width_mhz", (5745, WIDEST_MHZ + 1, -70)),
            ("level_dbm", (5745, 20, WEAKEST_DBM - 1)),
            ("level_dbm", (5745, 20, STRONGEST_DBM + 1)),
            ("level_dbm", (5745, 20, "-70")),
        ],
    )
    def test_a_number_that_makes_no_sense_is_refused_by_name(self, name, values):
        with pytest.raises(SiteError) as refused:
            OutsideSignal(*values)
        assert refused.value.name == name
        assert "give a number from" in refused.value.cure

    def test_the_ends_of_each_range_are_taken(self):
        assert OutsideSignal(1000, 0, WEAKEST_DBM).width_mhz == 0
        assert OutsideSignal(10000, WIDEST_MHZ, STRONGEST_DBM).centre_mhz == 10000


class TestWifi:
    """Centre frequencies of IEEE 802.11, operating classes of the 5 GHz band, from memory."""

    @pytest.mark.parametrize(
        ("channel", "width_mhz", "centre_mhz"),
        [
            (36, 20, 5180),
            (64, 20, 5320),
            (100, 20, 5500),
            (144, 20, 5720),
            (149, 20, 5745),
            (165, 20, 5825),
            (177, 20, 5885),
            (149, 40, 5755),
            (153, 40, 5755),
            (157, 40, 5795),
            (149, 80, 5775),
            (161, 80, 5775),
            (165, 80, 5855),
            (36, 80, 5210),
            (52, 80, 5290),
            (36, 160, 5250),
            (116, 80, 5610),
            (100, 160, 5570),
            (149, 160, 5815),
        ],
    )
    def test_a_channel_has_the_block_of_the_standard(self, channel, width_mhz, centre_mhz):
        assert wifi_block(channel, width_mhz) == (centre_mhz, width_mhz)

    def test_a_channel_is_20_mhz_wide_unless_said(self):
        assert wifi_block(149) == (5745, 20)

    @pytest.mark.parametrize("channel", [0, 14, 35, 68, 96, 148, 150, 181])
    def test_other_numbers_are_none(self, channel):
        with pytest.raises(SiteError, match="wifi cannot be"):
            wifi_block(channel)

    def test_a_width_that_there_is_not_is_refused(self):
        with pytest.raises(SiteError, match="20, 40, 80 or 160"):
            wifi_block(149, 30)
        with pytest.raises(SiteError, match="channel 132 is in no Wi-Fi channel as wide"):
            wifi_block(132, 160)
