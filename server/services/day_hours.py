"""The hours of a day, read from what is stored: its clock, and its timeline."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services import call_lineup, day_timeline
from server.services.call_views import FlightLineNow
from server.services.day_clock import DayClock, clock_of, hour_of
from server.services.day_timeline import DayTimeline
from server.services.snapshots import Snapshot
from server.storage import calls as stored
from server.storage import logbook
from server.storage.tables import FieldDay


def clock_at(
    session: Session, day: FieldDay, snapshot: Snapshot, now: FlightLineNow, at: datetime | None
) -> DayClock:
    """The day's clock at a moment; None: at that of the latest row of the logbook."""
    assert day.id is not None
    heats = snapshot["heats"]
    if at is None:
        at = logbook.newest_first(session, day.id, 1)[0].at
    released = [call for call in stored.of_day(session, day.id) if call.released_at is not None]
    a_round = max((sum(one["round"] == heat["round"] for one in heats) for heat in heats), default=0)
    return clock_of(
        at,
        [call.called_at for call in released],
        day.heat_minutes,
        len(heats),
        day.flown_heats,
        a_round,
        hour_of(day.date, now.line.starts_at, day.time_zone),
        hour_of(day.date, now.line.ends_by, day.time_zone),
        now.call.called_at if now.call else None,
    )


def timeline_at(session: Session, day: FieldDay, at: datetime) -> DayTimeline | None:
    """The timeline at a moment; None where no plan is published and nothing happened at the line."""
    snapshot = call_lineup.published_plan(session, day)
    return timeline_of(session, day, snapshot, FlightLineNow(session, day, snapshot), at)


def timeline_of(
    session: Session, day: FieldDay, snapshot: Snapshot | None, now: FlightLineNow, at: datetime | None
) -> DayTimeline | None:
    """The same where the plan and the line were read already; `at` as in `clock_at`."""
    assert day.id is not None
    newest = logbook.newest_first(session, day.id, 1)
    if not newest:
        return None
    at = at or newest[0].at
    calls = stored.of_day(session, day.id)
    periods = day_timeline.periods(logbook.of_actions(session, day.id, day_timeline.PERIODS), at)
    if snapshot is None and not calls and not periods:
        return None
    clock = clock_at(session, day, snapshot, now, at) if snapshot else None
    rounds = {heat["heat"]: heat["round"] for heat in snapshot["heats"]} if snapshot else {}
    past = day_timeline.called(calls, rounds, at)
    breaks = day_timeline.breaks(past, periods, clock) if clock else ()
    return DayTimeline(
        at=at,
        time_zone=day.time_zone,
        heats=(*past, *_ahead(session, day, rounds, now, clock)),
        periods=tuple(sorted((*periods, *breaks), key=lambda one: one.begins)),
        starts_at=hour_of(day.date, now.line.starts_at, day.time_zone),
        ends_by=hour_of(day.date, now.line.ends_by, day.time_zone),
        clock=clock,
        is_archived=day.archived_at is not None,
    )


def _ahead(
    session: Session, day: FieldDay, rounds: dict[int, int], now: FlightLineNow, clock: DayClock | None
) -> tuple[day_timeline.HeatTime, ...]:
    """Nothing of an archived day; no times once its date is over, or while nobody calls heats."""
    if day.archived_at is not None:
        return ()
    through = {
        heat
        for call in stored.of_day(session, day.id or 0)
        if call.counts and (call.id or 0) > now.line.counted_from_call
        for heat in call.heats
    }
    next_number = now.next[0] if now.next else None
    numbers = [one for one in rounds if one > day.flown_heats and (one not in through or one == next_number)]
    begins = None
    if clock is not None and next_number is not None and not _is_over(day, clock.at):
        starts_at = hour_of(day.date, now.line.starts_at, day.time_zone)
        begins = day_timeline.next_begins(clock, starts_at, now.call.called_at if now.call else None)
    return day_timeline.ahead(numbers, rounds, next_number, clock, begins)


def _is_over(day: FieldDay, at: datetime) -> bool:
    return at.astimezone(ZoneInfo(day.time_zone)).date() > day.date
