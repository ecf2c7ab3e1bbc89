"""The built-in rules against published band edges, in MHz, exact.

Each value stands beside the document that it was read in; "memory" marks those that are known from the
document but were not read again.
"""

import pytest

from server.radio.rules import FLAGGED_RANGES, RULE_SETS


def edges(key):
    return [(one.low_mhz, one.high_mhz) for one in RULE_SETS[key].ranges]


@pytest.mark.parametrize(
    ("key", "published"),
    [
        # ITU Radio Regulations No. 5.150: 5725-5875 is the ISM range in which short-range devices live.
        ("eu-short-range", [(5725, 5875)]),
        # 47 CFR 97.301(a), amateur 5 cm band, Region 2.
        ("us-amateur", [(5650, 5925)]),
        # 47 CFR 97.301(a), amateur 5 cm band, Regions 1 and 3.
        ("amateur-regions-1-3", [(5650, 5850)]),
        # Ministry of Internal Affairs and Communications, notes on video from unmanned aircraft, 2020.
        ("japan-amateur-video", [(5690, 5725), (5730, 5755), (5757, 5760), (5762, 5765), (5770, 5810)]),
        # Low Interference Potential Devices Class Licence 2015, Schedule 1 (memory).
        ("australia-class-licence", [(5725, 5875)]),
    ],
)
def test_ranges_are_those_published(key, published):
    assert edges(key) == published


@pytest.mark.parametrize(
    ("key", "limit_mw"),
    [
        # ERC/REC 70-03 Annex 1; Decision 2006/771/EC annex, 2025 (memory).
        ("eu-short-range", 25),
        # Low Interference Potential Devices Class Licence 2015, Schedule 1 (memory).
        ("australia-class-licence", 25),
        # 47 CFR 15.249, 2024: 50 mV/m at 3 m, which is 0.75 mW by E = sqrt(30 p)/d (ITU-R P.525-2 (1)).
        ("us-unlicensed", 0.75),
    ],
)
def test_limits_of_radiated_power_are_those_published(key, limit_mw):
    assert [one.max_eirp_mw for one in RULE_SETS[key].ranges] == [limit_mw]


@pytest.mark.parametrize(
    "published",
    [
        (5350, 5460),  # 47 CFR 15.205(a), 2019: restricted band
        (5600, 5650),  # FCC DA 12-459, NTIA TR-12-486, 2012: terminal Doppler weather radar
    ],
)
def test_flagged_ranges_are_those_published(published):
    assert published in FLAGGED_RANGES


@pytest.mark.parametrize(
    "published",
    [
        "5650-5670 MHz upwards",  # ITU Radio Regulations No. 5.282: amateur-satellite, Earth to space
        "5830-5850 MHz downwards",  # Radio Regulations, Article 5: amateur-satellite, space to Earth (memory)
    ],
)
@pytest.mark.parametrize("key", ["us-amateur", "amateur-regions-1-3"])
def test_amateurs_are_told_where_satellites_work(key, published):
    assert published in RULE_SETS[key].conditions
