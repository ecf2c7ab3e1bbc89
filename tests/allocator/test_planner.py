"""Single steps of the planner: moves of given heats, rules that nobody decided, proofs, time."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from server.allocator import planner
from server.allocator.errors import Cancelled
from server.allocator.feasibility import UndecidedError
from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.planner import NOT_DECIDED, Planner
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import plan_day
from server.radio.site import Site
from tests.allocator.days import equal_pilots


def day_of(*pilots, **wishes):
    return DayProblem(tuple(pilots), **{"time_limit_s": None, "common_power_mw": 25.0, **wishes})


def undecided(_problem):
    raise UndecidedError


# Moves


def test_a_move_to_the_very_lowest_channel_of_given_heats_counts():
    # Rook stays on 5917, so Wren has to leave it for the only other one.
    wren = Pilot("Wren", (5658, 5917), current_mhz=5917)
    plan = plan_day(day_of(wren, Pilot("Rook", (5917,)), heats_given=(("Wren", "Rook"),)))
    assert plan.day_channels_mhz == (5658, 5917)
    assert plan.moves == 1


def test_who_flies_in_no_given_heat_is_not_moved():
    pilots = [Pilot(name, (5658, 5917), current_mhz=5658) for name in ("Wren", "Rook")]
    plan = plan_day(day_of(*pilots, heats_given=(("Wren",),)))
    assert plan.moves == 0


def test_moves_of_a_day_without_a_search_are_counted():
    # Wren and Coot have one channel and never meet; Rook is set to one that is too close to theirs.
    pilots = (
        Pilot("Wren", (5700,), before=2),
        Pilot("Rook", (5690, 5806), current_mhz=5690),
        Pilot("Coot", (5700,), after=1),
    )
    plan = plan_day(day_of(*pilots, aircraft=3, rounds=2))
    assert (plan.moves, plan.retunes) == (1, 0)
    assert plan.day_channels_mhz == (5700, 5806)


def test_a_plan_that_cannot_be_has_no_heats_and_moves_nobody():
    twins = [Pilot(name, (5700,), current_mhz=5700) for name in ("Wren", "Rook")]
    plan = plan_day(day_of(*twins, one_heat=True))
    assert (plan.status, plan.heats, plan.moves, plan.retunes) == ("infeasible", (), 0, 0)
    assert (plan.worst_margin_db, plan.bound_db, plan.gap_db) == (None, None, None)
    assert (plan.site_ceiling_db, plan.common_power_mw, plan.levels) == (None, None, ())


# What nobody decided


def test_a_day_that_could_only_be_with_changes_and_was_not_found_is_not_decided(monkeypatch):
    monkeypatch.setattr(planner, "can_all_meet", lambda _problem: False)
    monkeypatch.setattr(planner, "some_day", lambda _problem: None)
    with pytest.raises(Cancelled) as caught:
        plan_day(day_of(Pilot("Wren", (5700,)), Pilot("Rook", (5800,)), aircraft=1))
    assert str(caught.value) == NOT_DECIDED


@pytest.mark.parametrize("wishes", [{"one_heat": True}, {"heats_given": (("Wren",), ("Rook",))}])
def test_the_channels_of_one_heat_are_not_looked_for_where_its_rules_are_not_decided(monkeypatch, wishes):
    monkeypatch.setattr(planner, "find_conflicts", undecided)
    with pytest.raises(Cancelled) as caught:
        plan_day(day_of(Pilot("Wren", (5700,)), Pilot("Rook", (5800,)), **wishes))
    assert str(caught.value) == NOT_DECIDED


def test_conflicts_stand_where_changes_of_channel_are_not_decided(monkeypatch):
    # Only the rule on channels stands in the way, and whether the others can hold is not known.
    monkeypatch.setattr(planner, "can_hold", lambda *_given: undecided(None))
    twins = [Pilot(name, (5700,)) for name in ("Wren", "Rook")]
    day = day_of(*twins, aircraft=2, one_heat=True)
    assert planner_of(day)._can_hold_with_retunes() is False
    assert plan_day(day).status == "infeasible"


def test_a_day_without_a_known_conflict_has_none(monkeypatch):
    day = day_of(Pilot("Wren", (5700,)), Pilot("Rook", (5800,)), aircraft=1)
    assert planner_of(day)._conflicts() == ()
    monkeypatch.setattr(planner, "find_conflicts", undecided)
    assert planner_of(day)._conflicts() == ()


def planner_of(day, keep_going=None):
    return Planner(day, keep_going)


@pytest.mark.parametrize(
    ("kinds", "can_others", "can_hold"),
    [
        (("channel", "apart"), True, True),
        (("channel", "apart"), False, False),
        (("apart", "together"), True, False),  # nothing that a change of channel would mend
        ((), True, False),
    ],
)
def test_changes_of_channel_mend_only_rules_on_channels(monkeypatch, kinds, can_others, can_hold):
    rules = [SimpleNamespace(kind=kind) for kind in kinds]
    asked = []
    monkeypatch.setattr(planner, "all_rules", lambda _problem: rules)
    monkeypatch.setattr(planner, "can_hold", lambda _problem, some: asked.append(some) or can_others)
    assert planner_of(day_of(*equal_pilots(2)))._can_hold_with_retunes() is can_hold
    assert all(one.kind != "channel" for some in asked for one in some)


def test_a_search_that_ends_in_a_conflict_tells_the_conflict_unless_the_caller_stopped_it(monkeypatch):
    day = day_of(*equal_pilots(2), aircraft=2)
    for is_cancelled in (False, True):
        asked = planner_of(day)
        asked.is_cancelled = is_cancelled
        monkeypatch.setattr(asked, "_conflicts", lambda: ("a conflict",))
        monkeypatch.setattr(asked, "_can_hold_with_retunes", lambda: True)
        monkeypatch.setattr(asked, "_planned", cancelled)
        if is_cancelled:
            with pytest.raises(Cancelled, match="no heats"):
                asked.run()
        else:
            plan = asked.run()
            assert (plan.status, plan.conflicts, plan.heats) == ("infeasible", ("a conflict",), ())


def cancelled():
    raise Cancelled("no heats were found")


def test_a_search_that_ends_without_a_conflict_to_name_tells_why(monkeypatch):
    asked = planner_of(day_of(*equal_pilots(2), aircraft=2))
    monkeypatch.setattr(asked, "_planned", cancelled)
    with pytest.raises(Cancelled, match="no heats"):
        asked.run()


# Pictures that nobody should fly by


def heats_of_sizes(*sizes, margin_db=-20.0):
    """Heats of so many pilots each with a picture not to be flown."""
    return tuple(
        Heat(
            number,
            1,
            tuple(Slot(f"P{number}{row}", 5658 + 37 * row, 25.0) for row in range(size)),
            margin_db,
            margin_db,
            False,
        )
        for number, size in enumerate(sizes, start=1)
    )


@pytest.mark.parametrize(("size", "is_offered"), [(1, False), (2, True), (3, True)])
def test_one_heat_more_is_offered_from_two_in_a_heat_on(size, is_offered):
    asked = planner_of(day_of(*equal_pilots(3), aircraft=3, site=Site(near_m=8, far_m=1000)))
    plan = asked._with_cure(DayPlan("unflyable", heats_of_sizes(1, size), worst_margin_db=-20.0))
    (conflict,) = plan.conflicts
    assert any("one more heat" in cure for cure in conflict.cures) == is_offered
    assert conflict.is_cured_by_one_heat_more == bool(conflict.remedies)


def test_a_plan_that_can_be_flown_is_left_as_it_is():
    asked = planner_of(day_of(*equal_pilots(2)))
    plan = DayPlan("feasible", heats_of_sizes(2, margin_db=5.0), worst_margin_db=5.0)
    assert asked._with_cure(plan) is plan


# Status, gap and proof


def finished(heats, bound_db, status=None):
    return planner_of(day_of(*equal_pilots(2)))._finish(status, heats, bound_db, None)


@pytest.mark.parametrize(
    ("bound_db", "gap_db", "status"),
    [
        (5.0, 0.0, "optimal"),
        (4.0, 0.0, "optimal"),
        (5.004, 0.004, "optimal"),
        (5.006, 0.006, "feasible"),
        (7.5, 2.5, "feasible"),
        (float("inf"), None, "optimal"),
        (None, None, "optimal"),
    ],
)
def test_the_gap_is_what_the_bound_lies_above_the_worst_heat(bound_db, gap_db, status):
    plan = finished(heats_of_sizes(2, 2, margin_db=5.0), bound_db)
    assert plan.gap_db == (pytest.approx(gap_db, abs=1e-9) if gap_db is not None else None)
    assert plan.status == status


def test_a_status_that_is_known_stands_unless_nobody_should_fly():
    good, bad = heats_of_sizes(2, margin_db=5.0), heats_of_sizes(2)
    assert finished(good, None, "feasible").status == "feasible"
    assert finished(bad, None, "optimal").status == "unflyable"
    assert finished(bad, None).status == "unflyable"
    assert finished((), None, "infeasible").status == "infeasible"


def test_channels_of_the_day_stand_once_each_and_ascending():
    heats = heats_of_sizes(2, 3, margin_db=5.0)
    turned = (heats[1], replace(heats[0], slots=tuple(reversed(heats[0].slots))))
    assert finished(turned, None).day_channels_mhz == (5658, 5695, 5732)


# Progress and time


def test_progress_adds_up_the_nodes_of_searches_before():
    told = []
    asked = planner_of(day_of(*equal_pilots(2)), lambda progress: told.append(progress) or True)
    asked.nodes = 100
    assert asked._go_on("a stage", 23, 1.5)
    assert [(one.stage, one.nodes, one.best_margin_db) for one in told] == [("a stage", 123, 1.5)]
    assert not asked.ran_out_of_time


@pytest.mark.parametrize(
    ("limit_s", "now_s", "is_over"), [(5.0, 15.0, False), (5.0, 15.1, True), (None, 1e9, False)]
)
def test_time_is_over_after_the_limit(monkeypatch, limit_s, now_s, is_over):
    asked = planner_of(day_of(*equal_pilots(2), time_limit_s=limit_s))
    asked.started = 10.0
    monkeypatch.setattr(planner.time, "perf_counter", lambda: now_s)
    assert asked._go_on("a stage", 0, None) == (not is_over)
    assert asked.ran_out_of_time == is_over
