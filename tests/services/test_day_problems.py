"""From roster and site file to the planner's question."""

import pytest

from server.allocator.errors import ProblemError
from server.radio.rules import RULE_SETS, RuleRange, RuleSet
from server.radio.tuning import parse_tuning
from server.services.day_problems import allowed_mhz, brief
from server.services.site_settings import SiteSettings, read_settings
from tests.rosters import make_roster_pilot

WREN, OTTER, ROOK = (make_roster_pilot(name) for name in ("Wren", "Otter", "Rook"))
JAPAN = SiteSettings(rule_set=RULE_SETS["japan-amateur-video"])


def labels_less(allowed, text):
    return set(parse_tuning(text).mhz) - set(allowed)


def test_without_rules_the_usual_bands_are_in_use_less_radar_ranges():
    assert labels_less(allowed_mhz(SiteSettings(), ()), "A B E F R") == {5645}
    assert not set(allowed_mhz(SiteSettings(), ())) & set(parse_tuning("L").mhz)


def test_band_l_comes_in_with_rules_that_allow_it_but_never_among_radars():
    wide = SiteSettings(rule_set=RuleSet("own", "Own", (RuleRange(5300, 5925),)))
    assert labels_less(allowed_mhz(wide, ()), "L") == {5362, 5399, 5436, 5621}


def test_bands_allowed_narrow_what_rules_hold():
    settings = read_settings({"allowed_bands": "R", "rules": {"name": "eu-short-range"}})
    assert allowed_mhz(settings, ()) == (5732, 5769, 5806, 5843)


def test_a_carrier_outside_the_table_counts_where_the_bands_surround_it():
    assert 5810 in allowed_mhz(SiteSettings(), (5810,))
    assert 5500 not in allowed_mhz(SiteSettings(), (5500,))
    assert 5810 in allowed_mhz(SiteSettings(rule_set=RULE_SETS["tern-meadow"]), (5810,))
    assert 5650 not in allowed_mhz(SiteSettings(rule_set=RULE_SETS["tern-meadow"]), (5650,))


def test_the_question_holds_site_and_settings():
    settings = read_settings(
        {
            "near_m": 10,
            "bans": "R1",
            "minimum_spacing_mhz": 25,
            "rest_heats": 2,
            "day_channels": "R",
            "common_power_mw": 25,
            "aircraft": 4,
            "rounds": 3,
        }
    )
    problem = brief([WREN, OTTER], settings, node_limit=7, time_limit_s=3.0, seed=5).problem
    assert (problem.site.near_m, problem.bans_mhz, problem.minimum_spacing_mhz) == (10, (5658,), 25)
    assert (problem.rest_heats, problem.day_channels, problem.common_power_mw) == (
        2,
        parse_tuning("R").mhz,
        25,
    )
    assert (problem.aircraft, problem.rounds) == (4, 3)
    assert (problem.node_limit, problem.time_limit_s, problem.seed) == (7, 3.0, 5)
    assert [pilot.callsign for pilot in problem.pilots] == ["Wren", "Otter"]


def test_pilots_in_no_given_heat_do_not_fly_and_are_named():
    asked = brief([WREN, OTTER, ROOK], SiteSettings(rounds=3), (("Rook", "Wren"), ("Wren",)))
    assert [pilot.callsign for pilot in asked.problem.pilots] == ["Wren", "Rook"]
    assert (asked.problem.heats_given, asked.problem.rounds) == ((("Rook", "Wren"), ("Wren",)), 1)
    assert "Otter is in no given heat." in asked.warnings


def test_fewer_transmitters_than_planned_are_a_warning():
    asked = brief([WREN, OTTER], JAPAN)
    assert asked.problem.aircraft == 3
    assert any("allows 3 transmitters at once: 3 aircraft are planned" in text for text in asked.warnings)


def test_as_many_transmitters_as_planned_need_no_warning():
    asked = brief([WREN], SiteSettings(aircraft=3, rule_set=JAPAN.rule_set))
    assert not any("at once" in text for text in asked.warnings)


@pytest.mark.parametrize("how", [{"one_heat": True}, {"heats_given": (("Wren", "Otter", "Rook", "Coot"),)}])
def test_a_heat_of_more_transmitters_than_the_rules_allow_is_a_conflict(how):
    pilots = [WREN, OTTER, ROOK, make_roster_pilot("Coot")]
    (conflict,) = brief(pilots, JAPAN, **how).conflicts
    assert conflict.rules[0] == "4 pilots are to fly in one heat"
    assert brief(pilots[:3], JAPAN, one_heat=True).conflicts == ()


def test_pilots_without_a_channel_are_conflicts_before_anything_is_searched():
    settings = SiteSettings(rule_set=RULE_SETS["eu-short-range"])
    asked = brief(
        [WREN, make_roster_pilot("Coot", "R8"), make_roster_pilot("Teal", "F4", power_mw="600")], settings
    )
    assert [one.rules[0].split()[0] for one in asked.conflicts] == ["Coot", "Teal's"]


def test_unknown_gear_is_said_to_be_assumed():
    asked = brief([make_roster_pilot("Wren", "?", power_mw="?")], SiteSettings())
    assert "Wren: nobody knew the channels, A B F taken. Ask, and plan again." in asked.warnings
    assert "Wren: nobody knew the power, 25 mW taken. Ask, and plan again." in asked.warnings


def test_no_rules_are_a_warning():
    (text,) = brief([WREN], SiteSettings()).warnings
    assert text.startswith("No rules are chosen: A B E F R less 5350-5460 and 5600-5650 MHz")


def test_rules_are_named_with_source_year_and_how_sure_and_who_decides():
    (text,) = brief([WREN], SiteSettings(rule_set=RULE_SETS["us-amateur"])).warnings
    assert text.startswith("Within the rules chosen for this day: United States, amateur")
    assert "2016; read in a copy of a public page" in text
    assert "Every operator needs a licence. Local rules and the licensed operator decide." in text


def test_labels_are_the_pilots_own():
    asked = brief([make_roster_pilot("Wren", "R7"), make_roster_pilot("Otter", "F8")], SiteSettings())
    assert asked.labels == {"Wren": {5880: "R7"}, "Otter": {5880: "F8"}}


def test_a_question_that_contradicts_itself_is_the_planners_error():
    with pytest.raises(ProblemError):
        brief([make_roster_pilot(f"Pilot {number}") for number in range(13)], SiteSettings(), one_heat=True)
