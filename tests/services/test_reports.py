"""The JSON object: names, order, rounding, and never NaN."""

import json
import math

import pytest

from server.allocator.plan import CompareRow, Conflict, DayPlan, Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.services.faults import Fault
from server.services.report_assumptions import Assumption
from server.services.reports import as_json, compare_object, faults_object, plan_object, rounded
from server.services.slot_facts import facts_of

ASSUMED = (Assumption("near_m", 8, "m", "site file"),)


def report(plan, *pilots, labels=None, warnings=()):
    problem = DayProblem(pilots or (Pilot("Wren", (5658,)),))
    written = plan_object(plan, facts_of(plan, problem), labels or {}, warnings, ASSUMED)
    return json.loads(as_json(written))


def day(*slots, **facts):
    heat = Heat(1, 1, tuple(Slot(*slot) for slot in slots), 1.23456, 0.4, True)
    return DayPlan("optimal", (heat,), **facts)


def test_names_and_order_are_those_promised():
    written = report(
        day(("Wren", 5658, 25.0), ("Otter", 5705, 25.0)), Pilot("Wren", (5658,)), Pilot("Otter", (5705,))
    )
    assert list(written) == [
        "status",
        "worst_margin_db",
        "bound_db",
        "gap_db",
        "stressed_margin_db",
        "site_ceiling_db",
        "seconds",
        "nodes",
        "retunes",
        "repeat_pairings",
        "day_channels_mhz",
        "common_power_mw",
        "heats",
        "conflicts",
        "warnings",
        "assumptions",
    ]
    heat = written["heats"][0]
    assert list(heat) == ["heat", "round", "worst_margin_db", "proved", "slots"]
    slot = heat["slots"][0]
    assert list(slot) == [
        "callsign",
        "channel",
        "mhz",
        "power_mw",
        "margin_db",
        "picture_grade",
        "link_margin_db",
        "limiting_cause",
    ]
    assert list(slot["limiting_cause"]) == ["kind", "share", "by_pilot", "largest_term"]
    assert list(slot["limiting_cause"]["by_pilot"][0]) == ["callsign", "share"]
    assert list(slot["limiting_cause"]["largest_term"]) == ["of", "at_mhz", "offset_mhz", "margin_db"]


def test_a_slot_says_what_the_model_says():
    written = report(
        day(("Wren", 5658, 25.0), ("Otter", 5705, 25.0)), Pilot("Wren", (5658,)), Pilot("Otter", (5705,))
    )
    slot = written["heats"][0]["slots"][0]
    # Two equal transmitters far apart: 28 - 20 log10(80/8) = 8 dB; the link has 13.86 dB at 80 m.
    assert (slot["margin_db"], slot["picture_grade"], slot["link_margin_db"]) == (8.0, 5.0, 13.86)
    assert slot["limiting_cause"] == {
        "kind": "carriers",
        "share": 1.0,
        "by_pilot": [{"callsign": "Otter", "share": 1.0}],
        "largest_term": {"of": ["Otter"], "at_mhz": 5705, "offset_mhz": 47, "margin_db": 8.0},
    }


def test_margins_are_rounded_to_hundredths_and_powers_stay_whole():
    written = report(
        day(("Wren", 5658, 25.0), worst_margin_db=1.23456, gap_db=-0.0, common_power_mw=25.0, seconds=0.127)
    )
    assert (written["worst_margin_db"], written["gap_db"], written["seconds"]) == (1.23, 0.0, 0.13)
    assert math.copysign(1, written["gap_db"]) == 1
    assert written["heats"][0]["worst_margin_db"] == 1.23
    text = as_json(written)
    assert '"common_power_mw": 25,' in text
    assert '"power_mw": 25,' in text
    assert '"value": 8,' in text


def test_a_pilot_alone_has_no_margin_and_no_cause():
    slot = report(day(("Wren", 5658, 25.0)))["heats"][0]["slots"][0]
    assert (slot["margin_db"], slot["picture_grade"]) == (None, 5.0)
    assert slot["limiting_cause"] == {"kind": "none", "share": 0.0, "by_pilot": [], "largest_term": None}


def test_the_channel_is_the_pilots_own_label_else_the_tables_else_null():
    pilots = (Pilot("Wren", (5880,)), Pilot("Otter", (5880,)), Pilot("Rook", (5810,)))
    flown = day(("Wren", 5880, 25.0), ("Otter", 5880, 25.0), ("Rook", 5810, 25.0))
    slots = report(flown, *pilots, labels={"Wren": {5880: "R7"}})["heats"][0]["slots"]
    assert [slot["channel"] for slot in slots] == ["R7", "F8", None]


def test_no_plan_is_an_object_all_the_same():
    conflict = Conflict(("a", "b"), "a and b.", ("lift a",))
    written = report(DayPlan("infeasible", conflicts=(conflict,)))
    assert (written["status"], written["heats"], written["worst_margin_db"]) == ("infeasible", [], None)
    assert written["conflicts"] == [{"rules": ["a", "b"], "explanation": "a and b.", "cures": ["lift a"]}]


def test_what_is_not_proved_stands_among_the_warnings():
    plan = DayPlan("feasible", search_notes=("Not proved.",))
    assert report(plan, warnings=("No rules are chosen.",))["warnings"] == [
        "No rules are chosen.",
        "Not proved.",
    ]


def test_how_many_can_fly_is_a_list_of_rows():
    rows = (CompareRow(3, 6, 3.456, 7.0, 4.84, 30.0), CompareRow(4, 5, None, None, 1.0, 25.0))
    assert compare_object(rows, ["w"], ASSUMED) == {
        "compare": [
            {
                "aircraft": 3,
                "heats": 6,
                "worst_margin_db": 3.46,
                "bound_db": 7.0,
                "worst_grade": 4.8,
                "minutes": 30,
            },
            {
                "aircraft": 4,
                "heats": 5,
                "worst_margin_db": None,
                "bound_db": None,
                "worst_grade": 1.0,
                "minutes": 25,
            },
        ],
        "warnings": ["w"],
        "assumptions": [{"name": "near_m", "value": 8, "unit": "m", "source": "site file"}],
    }


def test_bad_input_is_a_list_of_faults():
    fault = Fault("roster.csv", 2, "tunes", "Q", "“Q” is no band", "write A")
    assert faults_object([fault]) == {
        "status": "bad_input",
        "faults": [
            {
                "file": "roster.csv",
                "line": 2,
                "column": "tunes",
                "text": "Q",
                "problem": "“Q” is no band",
                "cure": "write A",
            }
        ],
    }


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, None])
def test_what_is_not_finite_is_null(number):
    assert rounded(number, 2) is None


def test_nan_is_never_written():
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_json({"margin_db": math.nan})
