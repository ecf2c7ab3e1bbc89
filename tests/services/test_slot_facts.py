"""Margins and warnings of the slots of a plan."""

from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.radio.interference import Station, heat_margins
from server.radio.rules import RULE_SETS
from server.radio.site import Site
from server.services.slot_facts import facts_of, named, slot_warnings

EUROPE, PERMIT = RULE_SETS["eu-short-range"], RULE_SETS["tern-meadow"]


def plan(*slots):
    return DayPlan("optimal", (Heat(1, 1, tuple(Slot(*slot) for slot in slots), None, None, True),))


def problem(*pilots):
    return DayProblem(tuple(pilots))


def test_margins_are_those_of_the_radio_model_in_the_order_of_the_slots():
    gear = problem(Pilot("Wren", (5658,), antenna="lhcp", gain_dbi=2), Pilot("Otter", (5880,)))
    (facts,) = facts_of(plan(("Otter", 5880, 200), ("Wren", 5658, 25)), gear)
    stations = [Station("Otter", 5880, 200), Station("Wren", 5658, 25, "lhcp", "rhcp", 2)]
    assert facts.margins == heat_margins(stations, Site())
    assert [(slot.callsign, margin.callsign) for slot, margin in facts.rows()] == [
        ("Otter", "Otter"),
        ("Wren", "Wren"),
    ]


def test_without_rules_there_is_nothing_to_say():
    assert slot_warnings(plan(("Wren", 5658, 600)), problem(Pilot("Wren", (5658,))), None) == ()


def test_a_power_just_above_the_limit_is_named_with_its_pilot_once():
    flown = plan(("Wren", 5800, 25), ("Wren", 5800, 25))
    (text,) = slot_warnings(flown, problem(Pilot("Wren", (5800,), gain_dbi=2)), EUROPE)
    assert text.startswith("Wren: 39.62 mW e.i.r.p. is above the 25 mW of Europe")


def test_a_slot_outside_the_rules_is_named():
    (text,) = slot_warnings(plan(("Wren", 5880, 25)), problem(Pilot("Wren", (5880,))), EUROPE)
    assert text.startswith("Wren: 5880 MHz reaches from 5875 to 5885 MHz, outside 5725-5875 MHz")


def test_channels_whose_full_width_reaches_over_an_edge_are_listed_together():
    gear = problem(Pilot("Wren", (5658,)), Pilot("Otter", (5917,)), Pilot("Rook", (5800,)))
    flown = plan(("Wren", 5658, 25), ("Otter", 5917, 25), ("Rook", 5800, 25))
    (text,) = slot_warnings(flown, gear, PERMIT)
    assert text.startswith("R1 5658 MHz, R8 5917 MHz: the 10 MHz that hold 99 % of the power lie within")


def test_a_channel_is_named_as_its_pilot_knows_it():
    assert named(5880, {5880: "R7"}) == "R7 5880 MHz"
    assert named(5880, {}) == "F8 5880 MHz"
    assert named(5810, {}) == "5810 MHz"
