"""One pilot of a roster from text."""

import pytest

from server.services.faults import FieldsError
from server.services.roster import COLUMNS, read_pilot

KNOWN = {"wren": "Wren", "otter": "Otter", "rook": "Rook"}


def pilot(**typed):
    return read_pilot({"callsign": "Wren", "tunes": "R"} | typed, KNOWN)


def faults(**typed):
    with pytest.raises(FieldsError) as caught:
        pilot(**typed)
    return [(fault.field, fault.problem) for fault in caught.value.field_faults]


def test_callsign_and_tunes_are_enough():
    plain = pilot()
    assert (plain.callsign, plain.setup.usable_mhz[0]) == ("Wren", 5658)
    assert (plain.pin_mhz, plain.apart, plain.together, plain.spotter) == ((), (), (), None)
    assert (plain.after, plain.before, plain.heat) == (None, None, None)


def test_the_columns_are_those_that_the_command_line_promises():
    gear = {"tunes", "receives", "power_mw", "pit_power_mw", "antenna", "rx_antenna", "antenna_gain_dbi"}
    wishes = {"pin", "apart", "together", "spotter", "after", "before", "heat"}
    assert set(COLUMNS) == {"callsign", "name", "station_id", "note"} | gear | wishes
    assert len(COLUMNS) == 18


def test_reads_every_wish():
    asked = pilot(pin="R1 R3", apart="otter", together="Rook", after="1", before="4", heat="2")
    assert asked.pin_mhz == (5658, 5732)
    assert (asked.apart, asked.together) == (("Otter",), ("Rook",))
    assert (asked.after, asked.before, asked.heat) == (1, 4, 2)


def test_a_spotter_who_flies_is_spelled_as_in_the_roster_and_another_as_typed():
    assert pilot(spotter="ROOK").spotter == "Rook"
    assert pilot(spotter="  Aunt  May ").spotter == "Aunt May"


def test_keeps_what_was_typed():
    assert pilot(name="Ann Lee", power_mw=" 25 ", note="").typed == {
        "callsign": "Wren",
        "tunes": "R",
        "name": "Ann Lee",
        "power_mw": " 25 ",
    }


def test_a_pin_needs_one_channel_that_the_gear_can_use():
    assert pilot(pin="F1 R1").pin_mhz == (5658, 5740)
    assert faults(pin="F1 F2") == [("pin", "“F1 F2” pins a channel that this gear cannot use")]
    assert faults(pin="R9")[0][0] == "pin"


def test_a_pin_is_not_judged_by_gear_that_is_not_understood():
    assert [name for name, _ in faults(tunes="Q", pin="F1")] == ["tunes"]


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "first", "1000", "\N{FULLWIDTH DIGIT ONE}"])
def test_a_heat_number_is_a_whole_number_from_1(text):
    assert faults(heat=text) == [("heat", f"“{text}” is not a heat number")]


@pytest.mark.parametrize(
    ("wishes", "field"),
    [
        ({"after": "2", "before": "3"}, "before"),  # no heat lies between
        ({"after": "3", "before": "2"}, "before"),
        ({"heat": "2", "after": "2"}, "heat"),
        ({"heat": "2", "before": "2"}, "heat"),
        ({"heat": "5", "after": "1", "before": "5"}, "heat"),
    ],
)
def test_heat_numbers_have_to_leave_a_heat(wishes, field):
    assert [name for name, _ in faults(**wishes)] == [field]


@pytest.mark.parametrize(
    "wishes", [{"after": "1", "before": "3"}, {"heat": "2", "after": "1", "before": "3"}]
)
def test_one_heat_between_is_enough(wishes):
    assert pilot(**wishes)


def test_bounds_are_named_with_the_heat_that_is_outside():
    assert faults(heat="5", after="1", before="5") == [("heat", "heat 5 is not after 1 and before 5")]
    assert faults(heat="1", after="1") == [("heat", "heat 1 is not after 1")]


def test_a_text_may_have_400_characters():
    assert pilot(note="x" * 400)
    assert faults(note="x" * 401) == [("note", "a text of 401 characters is too long")]


def test_nobody_spots_for_oneself():
    assert faults(spotter="wren") == [("spotter", "Wren cannot spot for Wren")]


def test_all_faults_of_a_pilot_come_together():
    found = faults(callsign="=A", tunes="Q", power_mw="-1", apart="Zephyr", heat="x")
    assert [name for name, _ in found] == ["callsign", "tunes", "power_mw", "apart", "heat"]
