"""Changes of channel during a day: none without need, the fewest that are worth their price, and owned up to."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator.checks import faults_of
from server.allocator.problem import DayProblem, Pilot
from server.allocator.retunes import Parts, heat_margins_db, pinned
from server.allocator.scoring import day_gear
from server.allocator.solve import plan_day
from tests.allocator.days import equal_pilots

WREN = Pilot("Wren", (5658, 5880))
ROOK, COOT = Pilot("Rook", (5680,)), Pilot("Coot", (5860,))


def given(pilots, *heats, **wishes):
    names = tuple(tuple(name for name in heat) for heat in heats)
    return DayProblem(tuple(pilots), heats_given=names, **{"time_limit_s": None, **wishes})


def channels_of(plan, name):
    return [slot.mhz for heat in plan.heats for slot in heat.slots if slot.callsign == name]


def test_a_channel_is_changed_where_that_is_worth_its_price():
    # On either channel Wren sits 22 or 20 MHz beside one of the two; changing once, beside neither.
    day = given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"))
    plan = plan_day(day)
    assert channels_of(plan, "Wren") == [5880, 5658]
    assert (plan.retunes, plan.status) == (1, "optimal")
    assert plan.worst_margin_db == pytest.approx(8.0)
    assert faults_of(plan, day) == ()
    assert any("change channel between heats" in note for note in plan.search_notes)


def test_a_channel_stays_where_the_change_would_bring_less():
    day = given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"), retune_worth_db=99.0)
    plan = plan_day(day)
    assert plan.retunes == 0
    assert len(set(channels_of(plan, "Wren"))) == 1
    assert plan.gap_db > 10.0


def test_the_price_is_that_of_the_day():
    kept = plan_day(given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"), retune_worth_db=99.0))
    lift_db = 8.0 - kept.worst_margin_db
    for price_db, retunes in ((lift_db - 0.01, 1), (lift_db + 0.01, 0)):
        day = given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"), retune_worth_db=price_db)
        assert plan_day(day).retunes == retunes


def test_where_no_channel_lasts_all_day_pilots_change_as_rarely_as_can_be():
    pilots = (Pilot("Wren", (5658, 5880)), Pilot("Rook", (5658,)), Pilot("Coot", (5880,)))
    day = given(pilots, ("Wren", "Rook"), ("Wren", "Rook"), ("Wren", "Coot"))
    plan = plan_day(day)
    assert channels_of(plan, "Wren") == [5880, 5880, 5658]
    assert plan.retunes == 1
    assert faults_of(plan, day) == ()


def test_two_changes_are_made_where_one_is_not_enough():
    day = given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"), ("Wren", "Rook"))
    plan = plan_day(day)
    assert channels_of(plan, "Wren") == [5880, 5658, 5880]
    assert plan.retunes == 2
    assert faults_of(plan, day) == ()


def test_two_changes_that_bring_less_than_the_price_together_are_not_made():
    day = given(
        (WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"), ("Wren", "Rook"), retune_worth_db=99.0
    )
    assert plan_day(day).retunes == 0


def test_a_day_of_rounds_is_flown_with_a_change_where_no_channel_lasts():
    # Heat 1 puts Wren beside Coot, heat 3 beside Rook; each of them has one channel, and Wren just these two.
    pilots = (
        Pilot("Wren", (5658, 5880), heat=1, before=4),
        Pilot("Coot", (5880,), heat=1),
        Pilot("Rook", (5658,), heat=3),
        Pilot("Otter", (5769,)),
    )
    day = DayProblem(pilots, aircraft=2, rounds=2, rest_heats=0, time_limit_s=None)
    plan = plan_day(day)
    assert plan.status == "optimal"
    assert channels_of(plan, "Wren") == [5658, 5880]
    assert plan.retunes == 1
    assert faults_of(plan, day) == ()
    assert any("with changes of channel" in note for note in plan.search_notes)


def test_an_ordinary_day_has_no_changes():
    day = DayProblem(equal_pilots(8), aircraft=4, rounds=3, time_limit_s=None)
    assert plan_day(day).retunes == 0


def test_claimed_changes_have_to_be_there():
    day = given((WREN, ROOK, COOT), ("Wren", "Rook"), ("Wren", "Coot"))
    plan = plan_day(day)
    assert faults_of(replace(plan, retunes=2), day) == (
        "the plan claims 2 retunes, but its pilots change channel 1 times",
    )
    assert faults_of(replace(plan, retunes=0), day) == ("Wren changes channel between heats: 5658, 5880 MHz",)


def test_a_pilot_cut_between_two_flights_is_two_parts():
    parts = Parts(3, [[0, 1], [0, 2], [0, 1]], [(0, 1), (1, 1)])
    assert parts.heats == [[0, 1], [3, 2], [3, 4]]
    assert parts.owner == [0, 1, 2, 0, 1]
    assert Parts(2, [[0, 1], [1]], ()).heats == [[0, 1], [1]]


def test_settled_channels_are_all_that_is_left_and_others_stay_free():
    usable = np.array([[True, True], [True, True]])
    assert pinned(usable, np.array([1, -1])).tolist() == [[False, True], [True, True]]
    assert usable.all()


def test_each_heat_has_its_worst_margin_and_a_close_one_has_none():
    gear = day_gear(DayProblem((WREN, ROOK, COOT)), [25.0] * 3)
    channel = np.array([gear.mhz.tolist().index(mhz) for mhz in (5658, 5680, 5860)])
    heats = [[0, 1], [0, 2], [2]]
    margins = heat_margins_db(gear, heats, heats, channel)
    assert margins[0] < 0.0
    assert margins[1:] == [pytest.approx(8.0, abs=1e-3), np.inf]
    wide = heat_margins_db(gear._replace(spacing_mhz=23), heats, heats, channel)
    assert wide == [-np.inf, *margins[1:]]
