"""Changes of channel that the planner made are no fault of its plan; those made by hand are."""

import pytest

from server.allocator.checks import broken_rules
from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.services.drafts import DraftContent, as_day_plan, as_json, from_json, from_plan

IDS = {"Wren": 1, "Otter": 2}
CALLSIGNS = {1: "Wren", 2: "Otter"}
DAY = DayProblem(tuple(Pilot(callsign, (5658, 5769, 5880)) for callsign in IDS), rounds=2)


def heat(number, wren_mhz):
    return Heat(number, number, (Slot("Wren", wren_mhz, 25.0), Slot("Otter", 5769, 25.0)), 3.0, 2.0, False)


def faults(content):
    margins = {"worst_margin_db": 3.0, "stressed_margin_db": 2.0}
    plan = as_day_plan(content, CALLSIGNS, {"heats": [margins] * len(content.heats), "worst_margin_db": 3.0})
    return broken_rules(plan, DAY)


@pytest.mark.parametrize("kept", [lambda content: content, lambda content: from_json(as_json(content))])
def test_a_retune_of_the_planner_is_no_fault(kept):
    plan = DayPlan("feasible", (heat(1, 5658), heat(2, 5880)), 3.0, retunes=1)
    assert faults(kept(from_plan(plan, IDS, DraftContent()))) == []


def test_a_change_by_hand_is_named():
    planned = from_plan(DayPlan("feasible", (heat(1, 5658), heat(2, 5658)), 3.0), IDS, DraftContent())
    by_hand = from_plan(DayPlan("feasible", (heat(1, 5658), heat(2, 5880)), 3.0), IDS, DraftContent())
    assert faults(planned) == []
    assert faults(by_hand) == ["Wren changes channel between heats: 5658, 5880 MHz"]
