"""What gear may do within the rules chosen."""

import math

import pytest

from server.radio.rules import RULE_SETS, RuleRange, RuleSet
from server.radio.site import Receiver
from server.radio.tuning import parse_tuning
from server.services.usable import eirp_mw, named_channels, planner_pilot, rules_width_mhz, usable_today
from tests.rosters import make_roster_pilot

EUROPE = RULE_SETS["eu-short-range"]
EVERYTHING = parse_tuning("A B E F R L").mhz
TWO_LIMITS = RuleSet("own", "Own", (RuleRange(5650, 5750, 25), RuleRange(5750, 5925, 200)))


def usable(rule_set=None, allowed_mhz=EVERYTHING, width_mhz=10, **typed):
    pilot = make_roster_pilot(**typed)
    return usable_today(pilot.callsign, pilot.setup, allowed_mhz, rule_set, width_mhz)


def test_without_rules_the_days_channels_decide():
    today = usable(tunes="R1 R2 R3", power_mw="25 600", allowed_mhz=(5658, 5732, 5800))
    assert (today.channels_mhz, today.power_steps_mw, today.conflict) == ((5658, 5732), (25, 600), None)


def test_steps_more_than_3_db_above_the_limit_are_left_out():
    today = usable(EUROPE, tunes="F4", power_mw="25 49 50 600")
    assert today.power_steps_mw == (25, 49)


def test_the_gain_of_the_antenna_counts():
    assert usable(EUROPE, tunes="F4", power_mw="25 40", antenna_gain_dbi="3").power_steps_mw == (25,)
    assert usable(EUROPE, tunes="F4", power_mw="25", antenna_gain_dbi="3.1").channels_mhz == ()


def test_channels_of_a_stricter_range_are_left_out_where_the_gear_is_too_strong_for_them():
    today = usable(TWO_LIMITS, tunes="R1 F4", power_mw="100 200")
    assert (today.channels_mhz, today.power_steps_mw) == ((5800,), (100, 200))


def test_every_step_that_stays_may_be_flown_on_every_channel_that_stays():
    today = usable(TWO_LIMITS, tunes="R1 F4", power_mw="25 200")
    assert (today.channels_mhz, today.power_steps_mw) == ((5658, 5800), (25,))


def test_a_pilot_without_a_channel_is_a_conflict_that_names_gear_rules_and_cures():
    today = usable(EUROPE, callsign="Otter", tunes="R8", allowed_mhz=(5800,))
    assert today.channels_mhz == ()
    assert today.conflict.rules == (
        "Otter can use only R8 5917 MHz",
        "The rules chosen for this day: Europe (CEPT), short-range devices",
    )
    assert "Otter can use only R8 5917 MHz, and none of it lies within" in today.conflict.explanation
    assert len(today.conflict.cures) == 3


def test_without_rules_the_conflict_names_the_bands():
    assert usable(tunes="L", allowed_mhz=(5800,)).conflict.rules[1] == "The bands in use today"


def test_a_transmitter_that_cannot_go_low_enough_is_a_conflict_of_powers():
    conflict = usable(EUROPE, callsign="Otter", tunes="F4", power_mw="200", antenna_gain_dbi="3").conflict
    assert conflict.rules == (
        "Otter's lowest power is 200 mW (399.1 mW e.i.r.p.)",
        "Europe (CEPT), short-range devices allows 25 mW e.i.r.p.",
    )


def test_radiated_power_is_power_times_gain():
    assert eirp_mw(25, 0) == 25
    assert math.isclose(eirp_mw(25, 3), 49.88, abs_tol=0.01)
    assert math.isclose(eirp_mw(100, -10), 10)


def test_rules_test_the_width_that_they_name():
    necessary = RuleSet("own", "Own", (RuleRange(5650, 5925),), tested_width="necessary")
    assert rules_width_mhz(None, Receiver()) == 10
    assert rules_width_mhz(EUROPE, Receiver()) == 10
    assert rules_width_mhz(necessary, Receiver()) == 18


def test_the_planner_gets_everything_that_a_row_says():
    pilot = make_roster_pilot(
        "Rook",
        "R1 R2",
        power_mw="25 200",
        antenna="lhcp",
        rx_antenna="linear",
        antenna_gain_dbi="2",
        pin="R1",
        apart="Wren",
        together="Otter",
        spotter="May",
        after="1",
        before="5",
        heat="3",
    )
    asked = planner_pilot(pilot, usable(tunes="R1 R2", power_mw="25 200"), current_mhz=5695)
    assert (asked.callsign, asked.channels_mhz, asked.power_steps_mw) == ("Rook", (5658, 5695), (25, 200))
    assert (asked.antenna, asked.rx_antenna, asked.gain_dbi) == ("lhcp", "linear", 2)
    assert (asked.pin_mhz, asked.current_mhz, asked.power_mw) == ((5658,), 5695, None)
    assert (asked.apart, asked.together, asked.spotter) == ({"Wren"}, {"Otter"}, "May")
    assert (asked.after, asked.before, asked.heat) == (1, 5, 3)
    assert asked.labels == {5658: "R1", 5695: "R2"}


@pytest.mark.parametrize(
    ("channels_mhz", "words"),
    [
        ((5658, 5810), "R1 5658, 5810 MHz"),
        (parse_tuning("R1-R6").mhz, "R1 5658, R2 5695, R3 5732, R4 5769, R5 5806, R6 5843 MHz"),
        (parse_tuning("R").mhz, "R1 5658, R2 5695, R3 5732, R4 5769, R5 5806, R6 5843 MHz and 2 more"),
    ],
)
def test_channels_are_named_and_the_first_few_of_many(channels_mhz, words):
    assert named_channels(channels_mhz, make_roster_pilot(tunes="R").setup) == words
