"""A day that merely keeps the hard rules, where the search for a good one finds none."""

import pytest

from server.allocator import any_day, planner
from server.allocator.any_day import heats_of_day
from server.allocator.checks import faults_of
from server.allocator.errors import Cancelled
from server.allocator.feasibility import UndecidedError
from server.allocator.holding import some_day
from server.allocator.plan import DayPlan
from server.allocator.planner import NOT_DECIDED
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import plan_day
from tests.allocator.tight_days import tight_day

FEW = "Few heats keep every hard rule"


def handover():
    """Wren leaves when Coot comes with the same only channel; Rook meets both."""
    pilots = (
        Pilot("Wren", (5700,), before=2),
        Pilot("Rook", (5658, 5732, 5806, 5880)),
        Pilot("Coot", (5700,), after=1),
    )
    return DayProblem(pilots, aircraft=3, rounds=2, time_limit_s=None)


def test_a_day_in_which_not_all_can_meet_is_planned_by_its_own_rounds():
    day = handover()
    plan = plan_day(day)
    assert (plan.status, plan.bound_db, plan.gap_db) == ("feasible", None, None)
    assert [(heat.number, heat.round) for heat in plan.heats] == [(1, 1), (2, 2)]
    assert [{slot.callsign for slot in heat.slots} for heat in plan.heats] == [
        {"Wren", "Rook"},
        {"Rook", "Coot"},
    ]
    assert faults_of(plan, day) == ()
    assert plan.search_notes[-1].startswith(FEW)
    assert not any(heat.proved for heat in plan.heats)


@pytest.mark.parametrize("seed", [1018, 3223, 3481])
def test_such_days_are_sound(seed):
    day = tight_day(seed)
    plan = plan_day(day)
    assert faults_of(plan, day) == ()
    assert any(FEW in note for note in plan.search_notes)


def test_channels_are_good_for_the_heats():
    plan = plan_day(handover())
    (rook,) = {slot.mhz for heat in plan.heats for slot in heat.slots if slot.callsign == "Rook"}
    assert rook == 5880  # as far from 5700 as can be


def test_heats_that_nobody_flies_in_keep_their_number():
    pilots = (Pilot("Wren", (5700,), heat=2), Pilot("Rook", (5700,), after=2))
    day = DayProblem(pilots, aircraft=1, rounds=2)
    heats, _ = heats_of_day(day, some_day(day), [25.0, 25.0], lambda *_: True)
    first = heats[0]
    assert (first.number, first.round, first.rows, first.mhz) == (2, 1, (0,), (5700,))
    assert {heat.round for heat in heats[1:]} == {2}


def test_channels_that_are_not_decided_are_those_of_the_day_found(monkeypatch):
    day = handover()
    channels_for_heats = any_day.channels_for_heats

    def undecided_unless_pinned(problem, *rest):
        if not all(pilot.pin_mhz for pilot in problem.pilots):
            raise UndecidedError
        return channels_for_heats(problem, *rest)

    monkeypatch.setattr(any_day, "channels_for_heats", undecided_unless_pinned)
    found = some_day(day)
    heats, _ = heats_of_day(day, found, [25.0] * 3, lambda *_: True)
    assert {mhz for heat in heats for mhz in heat.mhz} == set(found.mhz)


def test_a_good_day_that_breaks_a_rule_is_not_taken(monkeypatch):
    day = DayProblem((Pilot("Wren", (5700,)), Pilot("Rook", (5800,))), aircraft=1, time_limit_s=None)
    monkeypatch.setattr(planner, "broken_rules", lambda *_: ["a rule"])
    plan = plan_day(day)
    assert plan.search_notes[-1].startswith(FEW)
    assert len(plan.heats) == 2


def test_a_search_for_a_good_day_that_gives_up_leaves_any_day(monkeypatch):
    def gives_up(*_):
        raise Cancelled("no heats were found for round 2")

    monkeypatch.setattr(planner.DaySearch, "run", gives_up)
    day = DayProblem((Pilot("Wren", (5700,)), Pilot("Rook", (5800,))), aircraft=1, time_limit_s=None)
    assert faults_of(plan_day(day), day) == ()


def test_a_cancelled_planning_is_not_begun_anew():
    calls = []

    def stop_at_the_fifth(_progress):
        calls.append(1)
        return len(calls) < 5

    pilots = tuple(Pilot(f"P{number:02}", (5658, 5732, 5806, 5880)) for number in range(12))
    with pytest.raises(Cancelled, match="cancelled"):
        plan_day(DayProblem(pilots, aircraft=4, time_limit_s=None), stop_at_the_fifth)
    assert len(calls) == 5


def undecided(_problem):
    raise UndecidedError


def test_what_is_not_decided_may_still_have_a_plan(monkeypatch):
    monkeypatch.setattr(planner, "find_conflicts", undecided)
    day = DayProblem((Pilot("Wren", (5700,)), Pilot("Rook", (5800,))), aircraft=1, time_limit_s=None)
    assert isinstance(plan_day(day), DayPlan)


def test_what_is_not_decided_and_has_no_plan_says_so(monkeypatch):
    for name in ("find_conflicts", "can_all_meet", "some_day"):
        monkeypatch.setattr(planner, name, undecided)
    day = DayProblem((Pilot("Wren", (5700,)), Pilot("Rook", (5800,))), aircraft=1, time_limit_s=None)
    with pytest.raises(Cancelled) as caught:
        plan_day(day)
    assert str(caught.value) == NOT_DECIDED
