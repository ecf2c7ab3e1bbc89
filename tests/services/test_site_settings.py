"""The choices of a site file as plain values."""

import math

import pytest

from server.radio.rules import RULE_SETS
from server.radio.site import Receiver, Site, parameters_of
from server.radio.tuning import parse_tuning
from server.services.faults import FieldsError
from server.services.site_settings import SiteSettings, read_settings


def faults(**values):
    with pytest.raises(FieldsError) as caught:
        read_settings(values)
    return {fault.field: f"{fault.problem}: {fault.cure}" for fault in caught.value.field_faults}


def test_nothing_given_is_the_default_of_everything():
    assert read_settings({}) == SiteSettings()


@pytest.mark.parametrize("name", parameters_of(Site))
def test_every_parameter_of_the_site_can_be_given(name):
    value = 9
    if not parameters_of(Site)[name].lowest <= value <= parameters_of(Site)[name].highest:
        value = parameters_of(Site)[name].highest
    settings = read_settings({name: value})
    assert getattr(settings.site, name) == value
    assert settings.given == {name}


@pytest.mark.parametrize("name", parameters_of(Receiver))
def test_every_parameter_of_the_receiver_can_be_given(name):
    value = parameters_of(Receiver)[name].lowest
    settings = read_settings({"receiver": {name: value}})
    assert getattr(settings.site.receiver, name) == value
    assert f"receiver.{name}" in settings.given


def test_the_two_losses_of_mismatched_antennas_can_be_given_as_a_pair():
    settings = read_settings({"receiver": {"own_mismatch_db": [4, 11]}})
    receiver = settings.site.receiver
    assert (receiver.mismatch_linear_db, receiver.mismatch_opposite_db) == (4, 11)
    assert {"receiver.mismatch_linear_db", "receiver.mismatch_opposite_db"} <= settings.given


@pytest.mark.parametrize("pair", [3, [3], [3, 10, 1], ["3", "10"], [True, 10]])
def test_a_pair_of_losses_is_two_numbers(pair):
    assert "two numbers" in faults(receiver={"own_mismatch_db": pair})["receiver.own_mismatch_db"]


@pytest.mark.parametrize(
    "value", [True, "8", None, math.nan, math.inf, -math.inf, 0.4, 1000.1], ids=lambda value: str(value)
)
def test_a_distance_is_a_number_in_its_range(value):
    assert faults(near_m=value) == {"near_m": f"near_m cannot be {value}: give a number from 0.5 to 1000 m"}


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"near_m": 100, "far_m": 50}, "far_m"),
        ({"near_m": 100}, "near_m"),  # beyond the default of far_m
        ({"far_m": 5}, "far_m"),  # nearer than the default of near_m
    ],
)
def test_near_may_not_lie_beyond_far(values, field):
    assert list(faults(**values)) == [field]


def test_each_distance_is_judged_by_itself_first():
    assert list(faults(near_m=500, far_m=30_000)) == ["far_m", "near_m"]


@pytest.mark.parametrize("value", ["A B F4 5810", ["A", "B", "F4", 5810], ["A B", "F4 5810"]])
def test_channels_are_a_text_or_a_list(value):
    settings = read_settings({"allowed_bands": value, "bans": value, "day_channels": value})
    expected = parse_tuning("A B F4 5810").mhz
    assert (settings.allowed_mhz, settings.bans_mhz, settings.day_channels) == (expected, expected, expected)
    assert settings.allowed_bands == "A B F4 5810"


@pytest.mark.parametrize("value", [5, True, [True], [5.5], {"a": 1}])
def test_channels_are_nothing_else(value):
    assert 'such as "A B F R1-R4 5800"' in faults(bans=value)["bans"]


@pytest.mark.parametrize("value", ["", []])
def test_no_bans_are_no_fault_but_no_bands_are(value):
    assert read_settings({"bans": value}).bans_mhz == ()
    assert "no channel is listed" in faults(allowed_bands=value)["allowed_bands"]


@pytest.mark.parametrize("value", ["auto", "free"])
def test_the_days_set_may_be_left_to_the_planner(value):
    assert read_settings({"day_channels": value}).day_channels == value


@pytest.mark.parametrize(
    ("name", "lowest", "highest"),
    [("aircraft", 1, 12), ("rounds", 1, 50), ("minimum_spacing_mhz", 0, 200), ("rest_heats", 0, 50)],
)
def test_whole_numbers_have_bounds(name, lowest, highest):
    for good in (lowest, highest, float(highest)):
        assert getattr(read_settings({name: good}), name) == good
    for bad in (lowest - 1, highest + 1, highest - 0.5, True, str(highest), math.nan):
        assert f"from {lowest} to {highest}" in faults(**{name: bad})[name]


def test_common_power_is_a_number_or_auto():
    assert read_settings({"common_power_mw": "auto"}).common_power_mw == "auto"
    assert read_settings({"common_power_mw": 200}).common_power_mw == 200
    for bad in ("200", 0, -25, math.nan, 5001, True):
        assert 'or "auto"' in faults(common_power_mw=bad)["common_power_mw"]


def test_rules_are_chosen_by_name():
    assert read_settings({"rules": {"name": "tern-meadow"}}).rule_set == RULE_SETS["tern-meadow"]
    assert "no rule set Atlantis" in faults(rules={"name": "Atlantis"})["rules.name"]


@pytest.mark.parametrize("name", ["receiver", "rules"])
def test_parts_are_tables(name):
    assert f"write [{name}]" in faults(**{name: 5})[name]


def test_an_unknown_name_is_refused_with_the_one_that_may_be_meant():
    assert "write near_m" in faults(nearm=8)["nearm"]
    assert "the names are near_m, far_m" in faults(zzz=8)["zzz"]
    assert "write iip3_dbm" in faults(receiver={"iip3": -10})["receiver.iip3"]


def test_all_faults_come_together():
    found = faults(near_m=-1, bans="Q", rest_heats=-1, receiver={"iip3_dbm": 99}, rules={"name": "x"}, shoe=1)
    assert set(found) == {"near_m", "bans", "rest_heats", "receiver.iip3_dbm", "rules.name", "shoe"}
