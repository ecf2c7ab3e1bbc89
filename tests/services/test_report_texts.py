"""The same result for people at a terminal."""

from dataclasses import replace

import pytest

from server.allocator.plan import CompareRow, Conflict, DayPlan, Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.services.report_assumptions import Assumption
from server.services.report_texts import compare_text, decibels, plan_text, table_lines
from server.services.slot_facts import facts_of

PROBLEM = DayProblem((Pilot("Wren", (5658,)), Pilot("Big Bird", (5810,))))
HEAT = Heat(1, 1, (Slot("Wren", 5658, 25.0), Slot("Big Bird", 5810, 0.5)), 3.0, 2.0, True)
PLANNED = DayPlan(
    "optimal",
    (HEAT,),
    worst_margin_db=3.0,
    bound_db=3.0,
    gap_db=0.0,
    stressed_margin_db=2.0,
    site_ceiling_db=8.0,
    day_channels_mhz=(5658, 5810),
    common_power_mw=25.0,
    search_notes=("All six stages were searched to the end.",),
)


def text(plan, warnings=(), assumptions=()):
    return plan_text(plan, facts_of(plan, PROBLEM), {"Wren": {5658: "R1"}}, warnings, assumptions)


def test_the_plan_begins_with_what_it_is_and_the_site_ceiling_beside_the_worst_margin():
    lines = text(PLANNED).splitlines()
    assert lines[:6] == [
        "Planned: no plan has a better worst margin.",
        "Heats: 1 in one round. Common power: 25 mW.",
        "Worst margin: 3.00 dB, picture 4.8 clean; stressed 2.00 dB.",
        "The best possible at this site with two up: 8.00 dB; no plan of this day is above 3.00 dB.",
        "Channels of the day: 5658, 5810 MHz.",
        "Retunes during the day: 0. Opponents met again: 0.",
    ]


def test_a_best_plan_below_its_bound_says_what_that_bought():
    bought = "Planned: the best, with 0.34 dB of worst margin given up for the stressed margin."
    assert text(replace(PLANNED, gap_db=0.34)).splitlines()[0] == bought
    assert bought not in text(replace(PLANNED, status="feasible", gap_db=0.34))
    assert "given up" not in text(PLANNED)


def test_every_slot_has_channel_power_margin_picture_and_cause():
    lines = text(PLANNED).splitlines()
    at = lines.index("Heat 1, round 1: worst margin 3.00 dB")
    assert lines[at + 1].split() == [
        "Pilot",
        "Channel",
        "MHz",
        "Power",
        "Margin",
        "Picture",
        "Limiting",
        "cause",
    ]
    assert lines[at + 2].startswith("  Wren      R1       5658  25 mW   ")
    assert lines[at + 3].startswith("  Big Bird  -        5810  0.5 mW  ")
    assert "Big Bird's carrier, 152 MHz above" in lines[at + 2]


def test_notes_warnings_and_assumptions_follow():
    assumed = (
        Assumption("near_m", 8.0, "m", "site file"),
        Assumption("bans", [], "", "default"),
        Assumption("day_channels", [5658, 5800], "MHz", "option"),
        Assumption("one_heat", False, "", "default"),
        Assumption("rules", None, "", "default"),
    )
    written = text(PLANNED, ["No rules are chosen."], assumed)
    assert "Notes\n  All six stages were searched to the end.\n" in written
    assert "Warnings\n  No rules are chosen.\n" in written
    rows = [line.split() for line in written[written.index("Assumptions") :].splitlines()[1:]]
    assert rows == [
        ["near_m", "8", "m", "site", "file"],
        ["bans", "none", "default"],
        ["day_channels", "5658", "5800", "MHz", "option"],
        ["one_heat", "no", "default"],
        ["rules", "none", "default"],
    ]


def test_no_plan_says_which_rules_conflict_and_what_cures_it():
    written = text(
        DayPlan("infeasible", conflicts=(Conflict(("a", "b"), "a and b cannot both hold.", ("lift a",)),))
    )
    assert written == (
        "There is no plan: these rules cannot hold together.\n\n"
        "a and b cannot both hold.\n  Rule: a\n  Rule: b\n  Cure: lift a\n"
    )


@pytest.mark.parametrize(
    ("status", "words"), [("feasible", "the best that was found"), ("unflyable", "Do not fly this plan")]
)
def test_the_status_is_the_first_sentence(status, words):
    assert words in text(DayPlan(status)).splitlines()[0]


def test_how_many_can_fly_is_a_table():
    rows = (CompareRow(3, 6, 3.456, 7.0, 4.8, 30.0), CompareRow(4, 5, None, None, 1.0, 25.0))
    assert compare_text(rows, [], ()).splitlines() == [
        "How many can fly",
        "",
        "In the air  Heats  Worst picture   Worst margin  At most  A round takes",
        "3           6      4.8 clean       3.46 dB       7.00 dB  30 min",
        "4           5      1.0 do not fly  -             -        25 min",
    ]


@pytest.mark.parametrize(("number", "words"), [(None, "-"), (-0.0, "0.00 dB"), (-13.357, "-13.36 dB")])
def test_decibels_have_two_decimals(number, words):
    assert decibels(number) == words


def test_columns_line_up_and_nothing_trails():
    assert list(table_lines([("a", "bb"), ("ccc", "")])) == ["a    bb", "ccc"]
