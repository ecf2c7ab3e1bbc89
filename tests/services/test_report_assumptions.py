"""Everything that a result rests on is listed, with where it came from."""

import math

from server.allocator.problem import DayProblem, Pilot
from server.radio.site import Receiver, Site, parameters_of
from server.services.report_assumptions import assumptions_of, site_assumptions
from server.services.site_settings import SiteSettings, read_settings
from tests.rosters import make_roster_pilot

PROBLEM = DayProblem((Pilot("Wren", (5800,)),))


def by_name(listed):
    return {one.name: one for one in listed}


def test_every_parameter_of_the_model_is_listed_with_its_unit():
    listed = by_name(site_assumptions(SiteSettings()))
    assert list(listed) == [*parameters_of(Site), *parameters_of(Receiver)]
    assert (listed["near_m"].value, listed["near_m"].unit, listed["near_m"].source) == (8, "m", "default")


def test_the_choices_of_the_day_and_of_the_search_are_listed():
    listed = by_name(assumptions_of(PROBLEM, SiteSettings()))
    assert {"rules", "allowed_bands", "bans", "minimum_spacing_mhz", "day_channels", "rest_heats"} <= set(
        listed
    )
    assert {"common_power_mw", "aircraft", "rounds", "node_limit", "time_limit_s", "seed"} <= set(listed)
    assert (listed["rules"].value, listed["allowed_bands"].value) == (None, "A B E F R")


def test_a_value_came_from_the_option_else_the_site_file_else_it_is_the_default():
    settings = read_settings({"near_m": 10, "aircraft": 4, "receiver": {"iip3_dbm": -15}})
    listed = by_name(assumptions_of(PROBLEM, settings, {"aircraft", "seed"}))
    sources = {
        name: listed[name].source for name in ("near_m", "far_m", "iip3_dbm", "aircraft", "seed", "rounds")
    }
    assert sources == {
        "near_m": "site file",
        "far_m": "default",
        "iip3_dbm": "site file",
        "aircraft": "option",
        "seed": "option",
        "rounds": "default",
    }


def test_a_word_or_an_empty_list_has_no_unit():
    listed = by_name(assumptions_of(PROBLEM, SiteSettings()))
    assert (listed["day_channels"].value, listed["day_channels"].unit) == ("auto", "")
    assert (listed["bans"].value, listed["bans"].unit) == ([], "")
    fixed = DayProblem(PROBLEM.pilots, day_channels=(5658, 5800), bans_mhz=(5732,))
    listed = by_name(assumptions_of(fixed, SiteSettings()))
    assert (listed["day_channels"].value, listed["day_channels"].unit) == ([5658, 5800], "MHz")


def test_gear_that_nobody_knew_is_listed_by_pilot():
    pilots = [make_roster_pilot("Wren", "?", power_mw="?"), make_roster_pilot("Otter")]
    listed = assumptions_of(PROBLEM, SiteSettings(), pilots=pilots)[-2:]
    assert [(one.name, one.value, one.unit, one.source) for one in listed] == [
        ("tunes of Wren", "A B F", "", "default"),
        ("power_mw of Wren", [25.0], "mW", "default"),
    ]


def test_rules_without_bands_allow_what_they_hold():
    settings = read_settings({"rules": {"name": "tern-meadow"}})
    listed = by_name(assumptions_of(PROBLEM, settings))
    assert (listed["rules"].value, listed["rules"].source) == ("Tern Meadow club permit", "site file")
    assert listed["allowed_bands"].value == "within the rules"


def test_every_number_is_finite():
    values = [one.value for one in assumptions_of(PROBLEM, SiteSettings())]
    assert all(math.isfinite(value) for value in values if isinstance(value, float))
