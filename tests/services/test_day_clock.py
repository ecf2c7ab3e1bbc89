from datetime import UTC, date, datetime, timedelta

import pytest

from server.services.day_clock import clock_of, hour_of

START = datetime(2026, 5, 16, 9, 0, tzinfo=UTC)


def minutes(*numbers):
    return [START + timedelta(minutes=number) for number in numbers]


def clock(at=0, called=(), flown=0, ends=None, starts=0, up=None, heats=9, a_round=3):
    return clock_of(
        START + timedelta(minutes=at),
        minutes(*called),
        5,
        heats,
        flown,
        a_round,
        None if starts is None else START + timedelta(minutes=starts),
        None if ends is None else START + timedelta(minutes=ends),
        None if up is None else START + timedelta(minutes=up),
    )


@pytest.mark.parametrize(
    ("called", "cycle", "measured"),
    [
        ((), 8, 0),  # five minutes of flying and three between, until something was measured
        ((0,), 8, 0),
        ((0, 12), 8, 0),
        ((0, 12, 22), 11, 2),
        ((0, 10, 22, 32), 10, 3),
        ((0, 10, 20, 90, 100), 10, 3),  # lunch is no cycle
    ],
)
def test_the_cycle_is_the_usual_time_from_call_to_call(called, cycle, measured):
    found = clock(called=called)
    assert (found.cycle_minutes, found.measured) == (cycle, measured)


def test_a_gap_of_three_usual_ones_is_a_break_and_a_shorter_one_is_not():
    assert clock(called=(0, 10, 20, 50)).measured == 2
    assert clock(called=(0, 10, 20, 49)).measured == 3


def test_behind_is_counted_against_the_hours_of_the_day():
    assert clock(at=30, flown=2, ends=90).behind_minutes == 10  # ten minutes a heat
    assert clock(at=15, flown=2, ends=90).behind_minutes == -5
    assert clock(at=30, flown=2).behind_minutes == 14  # without an end eight minutes a heat


def test_while_a_heat_is_up_its_call_counts():
    assert clock(at=29, flown=2, ends=90, up=24).behind_minutes == 4


def test_without_a_start_and_after_the_last_heat_nothing_is_behind():
    assert clock(at=30, starts=None, ends=90).behind is None
    assert clock(at=300, flown=9, ends=90).behind is None
    assert clock(at=300, flown=9, ends=90, up=290).behind is not None


@pytest.mark.parametrize(
    ("at", "up", "fit", "rounds"),
    [
        (0, None, 11, (3, 2)),
        (1, None, 11, (3, 2)),
        (3, None, 10, (3, 1)),
        (82, None, 1, (0, 1)),
        (83, None, 0, (0, 0)),
        (200, None, 0, (0, 0)),
        (4, 3, 9, (3, 0)),  # the one that is up is not over before minute 11
        (20, 3, 8, (2, 2)),  # it is late: the next begins now at the earliest
    ],
)
def test_as_many_heats_fit_as_have_time_before_the_end(at, up, fit, rounds):
    found = clock(at=at, ends=90, up=up)
    assert (found.fit, found.rounds_fit) == (fit, rounds)


def test_without_an_end_nothing_is_said_of_what_fits():
    assert (clock().fit, clock().rounds_fit) == (None, None)


def test_without_a_plan_there_are_no_rounds_to_fit():
    assert clock(ends=90, heats=0, a_round=0).rounds_fit == (0, 11)


def test_heats_left_are_those_not_flown():
    assert clock(flown=2).heats_left == 7
    assert clock(flown=11).heats_left == 0


def test_an_hour_is_that_of_the_days_own_clocks():
    assert hour_of(date(2026, 5, 16), "10:00", "Europe/Dublin") == START
    assert hour_of(date(2026, 5, 16), "", "Europe/Dublin") is None


@pytest.mark.parametrize("called", [(0, 0, 0), (20, 10, 0), (0, 8, 3)])
def test_a_clock_that_was_set_back_measures_nothing(called):
    found = clock(called=called, ends=60)
    assert (found.cycle, found.measured) == (timedelta(minutes=8), 0)
