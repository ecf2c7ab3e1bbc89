"""Which times a day's timeline knows, and that it gives none to anything else."""

from datetime import UTC, datetime, timedelta

import pytest

from server.services import day_timeline, flight_line, open_flying
from server.services.day_clock import DayClock
from server.services.day_hours import timeline_at
from server.services.day_timeline import Period
from server.services.days import archive
from server.storage.tables import Call, LogbookEntry
from tests.factories import NOW, make_day
from tests.services.called_days import call_heat, released, step
from tests.services.changed_days import published_day

NINE = datetime(2026, 5, 16, 9, tzinfo=UTC)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def call(*heats, called, ended=None, released=True, counts=True):
    return Call(
        field_day_id=1,
        plan_number=1,
        heats=list(heats),
        stage="flying" if ended is None else "over",
        called_at=at(called),
        released_at=at(called + 1) if released else None,
        ended_at=None if ended is None else at(ended),
        counts=counts,
    )


def clock(now, cycle=10, measured=2):
    return DayClock(at(now), timedelta(minutes=cycle), measured, None, 3, None, 3, None)


def entry(action, minutes):
    return LogbookEntry(at=at(minutes), who="director", action=action, text=action)


def test_what_was_called_has_its_own_times():
    found = day_timeline.called(
        [call(1, called=0, ended=8), call(2, 3, called=12, ended=15, counts=False), call(4, called=20)],
        {1: 1, 2: 1, 4: 2},
        at(26),
    )
    assert [(one.number, one.round, one.state) for one in found] == [
        ("1", 1, "flown"),
        ("2 3", 1, "does not count"),
        ("4", 2, "up"),
    ]
    assert [(one.begins, one.ends) for one in found] == [
        (at(0), at(8)),
        (at(12), at(15)),
        (at(20), at(26)),
    ]
    assert not any(one.is_expected for one in found)


def test_a_call_that_nobody_was_released_from_was_not_flown():
    stood_down = call(1, called=0, ended=3, released=False)
    assert day_timeline.called([stood_down], {1: 1}, at(5))[0].state == "does not count"


def test_a_heat_of_an_older_plan_has_no_round():
    assert day_timeline.called([call(9, called=0, ended=8)], {1: 1}, at(9))[0].round is None


def test_heats_ahead_follow_each_other_by_one_cycle():
    found = day_timeline.ahead([4, 5], {4: 1, 5: 2}, 4, clock(30), at(31))
    assert [(one.number, one.round, one.state, one.begins, one.ends) for one in found] == [
        ("4", 1, "next", at(31), at(41)),
        ("5", 2, "ahead", at(41), at(51)),
    ]
    assert all(one.is_expected for one in found)


def test_heats_ahead_have_no_times_where_nothing_says_when_the_next_begins():
    found = day_timeline.ahead([4, 5], {4: 1, 5: 2}, 4, clock(30), None)
    assert [(one.begins, one.ends, one.is_expected) for one in found] == [(None, None, False)] * 2
    assert [one.state for one in found] == ["next", "ahead"]


@pytest.mark.parametrize(
    ("measured", "starts", "up_since", "begins"),
    [
        (0, None, None, None),
        (0, None, 28, None),
        (0, 60, None, 60),
        (0, 5, None, 30),  # the hour of the first heat has passed: at once
        (2, None, None, 30),
        (2, None, 25, 35),
        (2, None, 10, 30),  # up for longer than usual
        (2, 60, 25, 35),
    ],
)
def test_the_next_heat_begins_after_the_one_that_is_up_and_not_before_the_first_hour(
    measured, starts, up_since, begins
):
    found = day_timeline.next_begins(
        clock(30, measured=measured),
        None if starts is None else at(starts),
        None if up_since is None else at(up_since),
    )
    assert found == (None if begins is None else at(begins))


def test_periods_are_what_the_logbook_began_and_ended():
    rows = [
        entry("walkers on the field", 5),
        entry("open flying opened", 7),
        entry("field clear", 9),
        entry("everybody land", 20),
        entry("everybody land", 21),  # for another reason: still the same one
    ]
    assert day_timeline.periods(rows, at(30)) == (
        Period("walkers", at(5), at(9), is_on=False),
        Period("open flying", at(7), at(30), is_on=True),
        Period("EVERYBODY LAND", at(20), at(30), is_on=True),
    )


def test_an_end_without_a_beginning_is_no_period():
    assert day_timeline.periods([entry("field clear", 5)], at(30)) == ()


def test_a_gap_of_three_cycles_is_a_break_unless_pilots_flew_without_heats():
    heats = day_timeline.called(
        [call(1, called=0, ended=8), call(2, called=30, ended=38), call(3, called=59, ended=66)], {}, at(70)
    )
    lunch = Period("break", at(8), at(30), is_on=False)
    assert day_timeline.breaks(heats, (), clock(70)) == (lunch,)
    assert day_timeline.breaks(heats, (), clock(70, measured=0)) == ()
    walkers = Period("walkers", at(10), at(12), is_on=False)
    opened = Period("open flying", at(10), at(20), is_on=False)
    assert day_timeline.breaks(heats, (walkers,), clock(70)) == (lunch,)
    assert day_timeline.breaks(heats, (walkers, opened), clock(70)) == ()


class TestReading:
    """Heats 1 and 2 of a published day."""

    @pytest.fixture
    def day(self, session):
        return published_day(session)

    def timeline(self, session, day, moment=NOW):
        session.flush()
        return timeline_at(session, day, moment)

    def test_a_day_without_a_plan_has_no_timeline(self, session):
        assert self.timeline(session, make_day(session)) is None

    def test_before_the_first_call_heats_have_no_times(self, session, day):
        found = self.timeline(session, day)
        assert [(one.number, one.state, one.begins) for one in found.heats] == [
            ("1", "next", None),
            ("2", "ahead", None),
        ]
        assert not found.is_today

    def test_the_hour_of_the_first_heat_gives_them_times(self, session, day):
        flight_line.save_hours(session, day, {"starts_at": "11:00", "ends_by": "12:30"}, "director", NOW)
        found = self.timeline(session, day)
        # The field is an hour ahead of UTC; a heat takes five minutes and, as assumed, three between.
        assert [one.begins - NOW for one in found.ahead] == [timedelta(minutes=30), timedelta(minutes=38)]
        assert found.ends_by - found.starts_at == timedelta(minutes=90)
        assert found.is_today

    def test_once_the_date_is_over_nothing_is_expected(self, session, day):
        flight_line.save_hours(session, day, {"starts_at": "11:00", "ends_by": ""}, "director", NOW)
        assert not self.timeline(session, day, NOW + timedelta(days=1)).is_expected

    def test_a_heat_that_is_up_is_no_longer_ahead(self, session, day):
        released(session, day)
        found = self.timeline(session, day, NOW + timedelta(minutes=4))
        assert (found.up.number, found.up.ends - found.up.begins) == ("1", timedelta(minutes=4))
        assert [one.number for one in found.ahead] == ["2"]

    def test_a_heat_that_does_not_count_stands_twice(self, session, day):
        call_heat(session, day)
        step(session, day, "stop", reason="rain")
        step(session, day, "end")
        found = self.timeline(session, day)
        assert [(one.number, one.state) for one in found.heats] == [
            ("1", "does not count"),
            ("1", "next"),
            ("2", "ahead"),
        ]

    def test_a_heat_flown_before_its_turn_is_not_ahead(self, session, day):
        released(session, day, 2)
        for event in ("land", "all landed", "end"):
            step(session, day, event)
        found = self.timeline(session, day)
        assert [(one.number, one.state) for one in found.heats] == [("2", "flown"), ("1", "next")]

    def test_open_flying_stands_beside_a_plan_and_nothing_is_expected(self, session, day):
        flight_line.save_hours(session, day, {"starts_at": "11:00", "ends_by": ""}, "director", NOW)
        open_flying.open_up(session, day, False, "director", NOW)
        found = self.timeline(session, day, NOW + timedelta(minutes=5))
        assert [(one.kind, one.is_on) for one in found.periods] == [("open flying", True)]
        assert [one.begins for one in found.ahead] == [None, None]

    def test_an_archived_day_shows_what_was_and_nothing_ahead(self, session, day):
        released(session, day)
        for event in ("land", "all landed", "end"):
            step(session, day, event)
        archive(session, day.code, NOW)
        found = self.timeline(session, day)
        assert [(one.number, one.state) for one in found.heats] == [("1", "flown")]
        assert not found.is_today
