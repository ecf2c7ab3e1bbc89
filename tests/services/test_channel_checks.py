"""A given set of channels, scored."""

import pytest

from server.radio.interference import Station, heat_margins
from server.radio.rules import RULE_SETS
from server.radio.site import Site
from server.services.channel_checks import check_channels, check_object, check_text, near_products
from server.services.faults import FaultyInputError
from server.services.report_assumptions import site_assumptions
from server.services.site_settings import SiteSettings

SETTINGS = SiteSettings()


def test_an_even_comb_at_600_mw_feeds_its_own_products():
    check = check_channels("R", 600, SETTINGS)
    margins = [slot.margin_db for slot in check.margins.slots]
    assert (round(min(margins), 2), round(max(margins), 2)) == (-13.36, -12.25)


def test_margins_are_those_of_the_radio_model():
    check = check_channels("R1 F4", 25, SETTINGS)
    assert check.margins == heat_margins([Station("R1", 5658, 25), Station("F4", 5800, 25)], Site())


def test_a_channel_listed_twice_is_two_transmitters():
    check = check_channels("F8 R7 R7", 25, SETTINGS)
    assert [station.callsign for station in check.stations] == ["F8", "R7", "R7 (2)"]
    assert check.margins.worst_margin_db < -40


def test_a_carrier_has_the_label_of_the_table_or_none():
    assert check_channels("5800 5810", 25, SETTINGS).labels == ("F4", None)
    assert [station.callsign for station in check_channels("5800 5810", 25, SETTINGS).stations] == [
        "F4",
        "5810",
    ]


def test_products_within_35_mhz_are_listed_the_strongest_first():
    check = check_channels("R1 R2 R3 R6", 25, SETTINGS)
    near = near_products(check.margins.slots[0])
    assert all(abs(term.offset_mhz) <= 35 for term in near)
    assert all(term.kind == "products" for term in near)
    assert [term.share for term in near] == sorted((term.share for term in near), reverse=True)
    offsets = [term.offset_mhz for term in check.margins.slots[0].terms if term.kind == "products"]
    assert sum(abs(offset) <= 35 for offset in offsets) == len(near)
    assert 0 < len(near) < len(offsets)


def test_the_object_has_every_channel_with_margin_grade_cause_and_products():
    check = check_channels("R1 R2 R3 R4", 600, SETTINGS)
    written = check_object(check, site_assumptions(SETTINGS))
    assert list(written) == [
        "worst_margin_db",
        "stressed_margin_db",
        "site_ceiling_db",
        "channels",
        "warnings",
        "assumptions",
    ]
    channel = written["channels"][1]
    assert (channel["channel"], channel["mhz"], channel["power_mw"]) == ("R2", 5695, 600)
    assert {"margin_db", "picture_grade", "link_margin_db", "limiting_cause"} < set(channel)
    assert channel["products"][0] == {
        "of": ["R1", "R4", "R3"],
        "at_mhz": 5695,
        "offset_mhz": 0,
        "margin_db": channel["products"][0]["margin_db"],
        "share": channel["products"][0]["share"],
    }


def test_the_text_shows_three_products_a_channel_and_counts_the_others():
    written = check_text(check_channels("R1 R2 R3 R4 R5 R6", 600, SETTINGS), site_assumptions(SETTINGS))
    assert written.startswith("6 transmitters of 600 mW. Worst margin: ")
    lines = [line for line in written.splitlines() if line.startswith("  R1: ")]
    assert len(lines) == 4
    assert lines[0] == "  R1: R2 + R3 \N{MINUS SIGN} R4 at 5658 MHz, +0 MHz, leaves -2.03 dB"
    assert lines[3].endswith("weaker")
    assert "Assumptions\n  near_m" in written


def test_one_channel_alone_has_no_margin():
    written = check_text(check_channels("R1", 25, SETTINGS), ())
    assert "Worst margin: -;" in written
    assert "Products" not in written


@pytest.mark.parametrize(
    ("settings", "power_mw", "warning"),
    [
        (SETTINGS, 25, "E4: 5645 MHz touches a range where radars work."),
        (
            SiteSettings(rule_set=RULE_SETS["us-amateur"]),
            25,
            "E4: 5645 MHz touches 5600-5650 MHz, where radars work.",
        ),
        (
            SiteSettings(rule_set=RULE_SETS["eu-short-range"]),
            600,
            "F4: 600 mW e.i.r.p. is above the 25 mW of",
        ),
    ],
)
def test_rules_and_radar_ranges_are_named(settings, power_mw, warning):
    warnings = check_channels("E4 F4", power_mw, settings).warnings
    assert any(text.startswith(warning) for text in warnings)


def test_channels_within_the_rules_need_no_warning():
    assert check_channels("R1 F4", 600, SiteSettings(rule_set=RULE_SETS["us-amateur"])).warnings == ()


def test_more_than_twelve_channels_are_refused():
    assert check_channels("A F1-F4", 25, SETTINGS).stations
    with pytest.raises(FaultyInputError, match="13 channels cannot share the air: list at most 12"):
        check_channels("A F1-F5", 25, SETTINGS)
