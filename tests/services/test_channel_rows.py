"""The channels of the table on one day: in use, or why not."""

import pytest

from server.radio.channels import channel_named
from server.radio.rules import RULE_SETS
from server.services.channel_rows import channel_rows, channels_inside, runs_of
from server.services.days import DaySettings

EUROPE = RULE_SETS["eu-short-range"]
WITH_L = ("A", "B", "E", "F", "R", "L")


def states(settings=None, rule_set=None):
    return {row.mhz: row.state for row in channel_rows(settings or DaySettings(), rule_set, 10)}


@pytest.mark.parametrize(
    ("label", "state"),
    [
        ("F4", "in use"),
        ("R1", "outside the rules"),
        ("E4", "radar range"),  # told before the rules: it stays out whatever is chosen
        ("L4", "band not used"),
        ("R3", "out of use today"),
    ],
)
def test_each_channel_has_one_state(label, state):
    mhz = channel_named(label).mhz
    assert states(DaySettings(bans=(5732,)), EUROPE)[mhz] == state


def test_without_rules_nothing_is_outside_them():
    assert set(states(DaySettings(allowed_bands=WITH_L)).values()) == {"in use", "radar range"}


def test_only_channels_in_use_have_no_reason():
    rows = channel_rows(DaySettings(bans=(5732,)), EUROPE, 10)
    assert all((row.state == "in use") == (row.why == "") for row in rows)


def test_a_wider_signal_leaves_fewer_channels_in_use():
    narrow, wide = (channel_rows(DaySettings(), EUROPE, width_mhz) for width_mhz in (10, 18))
    assert {row.mhz for row in wide if row.state == "in use"} < {
        row.mhz for row in narrow if row.state == "in use"
    }


def test_two_labels_of_one_frequency_are_one_row():
    (row,) = (row for row in channel_rows(DaySettings(), None, 10) if row.mhz == 5880)
    assert row.name == "F8 R7"


def test_channels_in_few_words():
    channels = [channel_named(label) for label in ("A1", "A2", "A3", "E1", "F4", "F5")]
    assert runs_of(channels) == ["A1\N{EN DASH}A3", "E1", "F4\N{EN DASH}F5"]
    assert runs_of([]) == []


def test_channels_inside_rules_leave_out_what_touches_the_radars():
    inside = {channel.label for channel in channels_inside(RULE_SETS["us-amateur"], 10)}
    assert "E3" in inside
    assert not {"E4", "E7", "E8", "L1"} & inside
