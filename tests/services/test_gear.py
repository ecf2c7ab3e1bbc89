"""Video set-ups: what the desk types, what the gear can do."""

import math

import pytest

from server.radio.tuning import parse_tuning
from server.services.faults import FieldsError
from server.services.gear import PRESETS, label_at, read_setup, tunes_of


def setup(**typed):
    return read_setup({"tunes": "A B E F R"} | typed, "Otter")


def faults(**typed):
    with pytest.raises(FieldsError) as caught:
        setup(**typed)
    return {
        (fault.field, fault.text): f"{fault.problem}: {fault.cure}" for fault in caught.value.field_faults
    }


def test_a_bare_list_of_channels_is_a_whole_set_up():
    plain = setup(tunes="R")
    assert plain.usable_mhz == parse_tuning("R").mhz
    assert plain.power_steps_mw == (25,)
    assert (plain.antenna, plain.rx_antenna, plain.gain_dbi, plain.pit_power_mw) == ("rhcp", "rhcp", 0, None)
    assert plain.assumed == ()


def test_usable_is_what_transmitter_and_goggles_have_in_common():
    assert setup(tunes="A R", receives="R1-R3 B").usable_mhz == parse_tuning("R1-R3").mhz


def test_two_labels_of_one_frequency_meet():
    assert setup(tunes="R7", receives="F8").usable_mhz == (5880,)


def test_goggles_without_a_common_channel_are_named_with_their_pilot():
    message = faults(tunes="R", receives="F1")["receives", "F1"]
    assert message.startswith("Otter's goggles cannot show any channel that Otter's transmitter has")


def test_the_transmitter_s_label_comes_first_and_the_goggles_label_fills_gaps():
    mixed = setup(tunes="F8 5800", receives="R7 F4")
    assert mixed.labels == {5880: "F8", 5800: "F4"}


@pytest.mark.parametrize(
    ("mhz", "labels", "label"),
    [
        (5880, {5880: "R7"}, "R7"),  # the pilot's own
        (5880, {}, "F8"),  # the catalogue's first
        (5810, {}, None),  # in no table
    ],
)
def test_a_carrier_has_the_pilot_s_label_else_the_catalogue_s_else_none(mhz, labels, label):
    assert label_at(mhz, labels) == label


@pytest.mark.parametrize(
    ("text", "steps_mw"),
    [
        ("", (25,)),
        ("25", (25,)),
        ("600 25 200", (25, 200, 600)),
        ("25mW 200 MW", (25, 200)),
        ("25,200", (25, 200)),
        ("0.5", (0.5,)),
        ("25 25", (25,)),
        ("0.01 5000", (0.01, 5000)),
    ],
)
def test_reads_power_steps_ascending(text, steps_mw):
    assert setup(power_mw=text).power_steps_mw == steps_mw


def test_unknown_power_is_25_mw_and_said_to_be_assumed():
    assert setup(power_mw="?").power_steps_mw == (25,)
    assert setup(power_mw="?").assumed == (("power_mw", "25"),)


def test_known_steps_beside_an_unknown_one_are_kept():
    assert setup(power_mw="200 ?").power_steps_mw == (200,)
    assert setup(power_mw="200 ?").assumed == (("power_mw", "200"),)


def test_unknown_bands_are_those_that_nearly_every_set_has_and_said_to_be_assumed():
    assert setup(tunes="?").usable_mhz == parse_tuning("A B F").mhz
    assert setup(tunes="?").assumed == (("tunes", "A B F"),)


def test_unknown_goggles_show_what_the_transmitter_has_and_said_to_be_assumed():
    assert setup(tunes="R", receives="?").usable_mhz == parse_tuning("R").mhz
    assert setup(tunes="R", receives="?").assumed == (("receives", "as tunes"),)


@pytest.mark.parametrize("word", ["-5", "0", "nan", "inf", "25W", "=25", "1e3", "0.009", "5000.1", "9" * 400])
def test_refuses_a_power_that_no_set_has(word):
    message = faults(power_mw=f"25 {word}")["power_mw", word]
    assert "is not a power in mW: write mW from 0.01 to 5000" in message


def test_every_wrong_step_of_power_is_named():
    assert set(faults(power_mw="-5 25 x")) == {("power_mw", "-5"), ("power_mw", "x")}


def test_pit_power_is_one_number():
    assert setup(pit_power_mw="0.1 mW").pit_power_mw == setup(pit_power_mw="0,1").pit_power_mw == 0.1
    assert ("pit_power_mw", "1 2") in faults(pit_power_mw="1 2")


def test_the_receiving_antenna_is_like_the_transmitting_one_unless_told():
    assert setup(antenna="LHCP").rx_antenna == "lhcp"
    assert setup(antenna="lhcp", rx_antenna="linear").rx_antenna == "linear"


def test_a_wrong_antenna_is_one_fault():
    assert faults(antenna="dipole") == {
        ("antenna", "dipole"): "“dipole” is not an antenna: write rhcp, lhcp or linear"
    }


@pytest.mark.parametrize(
    ("text", "gain_dbi"),
    [("2.5", 2.5), ("2,5", 2.5), ("-1", -1), ("\N{MINUS SIGN}1", -1), ("+3", 3), ("-20", -20), ("30", 30)],
)
def test_reads_a_gain(text, gain_dbi):
    assert math.isclose(setup(antenna_gain_dbi=text).gain_dbi, gain_dbi)


@pytest.mark.parametrize("text", ["2,5,1", "nan", "inf", "31", "-21", "high"])
def test_refuses_a_gain_that_no_antenna_has(text):
    assert "such as 2.5" in faults(antenna_gain_dbi=text)["antenna_gain_dbi", text]


def test_all_faults_come_together_with_one_text_a_field():
    with pytest.raises(FieldsError) as caught:
        setup(tunes="R9", power_mw="x y", antenna="dipole")
    assert list(caught.value.faults) == ["tunes", "power_mw", "antenna"]
    assert caught.value.faults["power_mw"].count("is not a power") == 2


@pytest.mark.parametrize("preset", PRESETS, ids=lambda preset: preset.name)
def test_every_preset_can_be_flown_or_asks_for_its_channel(preset):
    assert preset.note
    if preset.tunes:
        assert setup(tunes=preset.tunes).usable_mhz
    else:
        assert preset.name == "one channel"


def test_a_preset_can_be_typed_by_name():
    assert setup(tunes="  E,  locked ").usable_mhz == parse_tuning("E1-E3 E5 E6").mhz
    assert setup(tunes="Don't know").assumed == (("tunes", "A B F"),)


def test_text_that_is_no_preset_stays_as_it_is():
    assert tunes_of("R1  f4") == "R1  f4"
