"""Bring a day in from a file: all of it or nothing, beside the days that are here already."""

import json
import logging
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from server.services import day_files, days, pilots
from server.services.board import board_of_day
from server.services.callsigns import callsign_key
from server.services.day_file_rows import DayContent
from server.services.day_hours import timeline_at
from server.services.day_now import DayNow
from server.services.day_numbers import MissingRowError, Numbers
from server.services.heat_sheets import every_sheet
from server.services.line_desk import line_desk
from server.services.roles import acting
from server.services.slots import slots_of_day
from server.services.standings import standing
from server.services.trouble_views import trouble_desk
from server.storage import day_rows, logbook
from server.storage import days as stored_days
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import listed, ngettext

BROUGHT_IN = "day brought in"
ENTRIES_LOOKED_AT = 20

log = logging.getLogger("bandstand")


@dataclass(frozen=True)
class BroughtIn:
    """What came of it.

    code_before  the code that the day had, where another day here has it already; else empty
    new_links    callsigns of pilots whose private link is in use here already, so that they have a new one
    """

    day: FieldDay
    code_before: str
    new_links: tuple[str, ...]

    def words(self) -> str:
        said = [_("Brought in the field day %(name)s of %(date)s.", name=self.day.name, date=self.day.date)]
        if self.code_before:
            said.append(
                _(
                    "Another day here has the code %(before)s, so this one has %(code)s: what was printed with "
                    "the old code leads to the other day.",
                    before=self.code_before,
                    code=self.day.code,
                )
            )
        if self.new_links:
            said.append(
                ngettext(
                    "%(pilots)s has a new private link, since the old one is in use here: show the new code.",
                    "%(pilots)s have new private links, since the old ones are in use here: show the new codes.",
                    len(self.new_links),
                    pilots=listed(self.new_links),
                )
            )
        return " ".join(said)


def bring_in(session: Session, club_id: int, content: DayContent, file: str, at: datetime) -> BroughtIn:
    """Add the day that `day_files.read` found, before the transaction, so that nobody waits for its checks.

    Raises FaultyDayFileError; the caller then must not commit.
    """
    _refuse_odd_callsigns(content, file)
    given = content.day.model_dump()
    is_taken = stored_days.by_code(session, content.day.code) is not None
    if is_taken:
        given["code"] = days.free_code(session)
    try:
        day = day_rows.put_in_day(session, {**given, "club_id": club_id})
        renewed = _put_in_rows(session, content, day)
    except MissingRowError as error:
        reason = _("there is no row with the number %(number)s", number=error.number)
        raise day_files.faulty(file, error.column, reason) from None
    except (day_rows.RowsDoNotFitError, ValueError, TypeError, KeyError) as error:
        raise day_files.faulty(file, "content", str(error)) from None
    _refuse_what_cannot_be_shown(session, day, file, at)
    brought = BroughtIn(day, content.day.code if is_taken else "", renewed)
    # Of the club, not of the day: the day's own logbook comes as it was.
    logbook.append(
        session, None, acting(session), BROUGHT_IN, brought.words(), {"code": day.code}, at, club_id
    )
    return brought


def words_of(session: Session, club_id: int, code: str) -> str:
    """What was said when the club's day with this code was brought in lately; empty where it was not."""
    day = stored_days.by_code(session, code)
    is_ours = day is not None and day.club_id == club_id
    entries = logbook.newest_first(session, day.id or 0, ENTRIES_LOOKED_AT) if is_ours and day else []
    told = (
        one.text for one in entries if one.action == BROUGHT_IN and json.loads(one.data_json)["code"] == code
    )
    return next(told, "")


def _put_in_rows(session: Session, content: DayContent, day: FieldDay) -> tuple[str, ...]:
    """All rows of the day; returns the callsigns of pilots with new links."""
    numbers, parts = Numbers(), {name: _rows(content, name) for name in day_rows.TABLES}
    for name, rows in parts.items():
        if rows and "id" not in rows[0]:
            continue
        numbers.take(name, [row["id"] for row in rows], day_rows.highest_id(session, name) if rows else 0)
    renewed = _renew_taken_links(session, parts["pilots"])
    flying = {}
    for name, rows in parts.items():
        numbered = [numbers.row(name, row) for row in rows]
        for row in numbered:
            if name not in ("aircraft", "call_slots"):
                row["field_day_id"] = day.id
            if name == "pilots" and row["flying_aircraft_id"]:
                flying[row["id"]] = row["flying_aircraft_id"]
                row["flying_aircraft_id"] = None  # not there yet
        day_rows.put_in(session, name, numbered)
    day_rows.set_flying(session, flying)
    return renewed


def _rows(content: DayContent, name: str) -> list[dict[str, Any]]:
    of_part = getattr(content, name)
    if of_part is None:
        return []
    rows = of_part if isinstance(of_part, tuple) else (of_part,)
    found = [row.model_dump() for row in rows]
    for row in found:
        if "heats" in row:
            row["heats"] = list(row["heats"])
    return found


def _renew_taken_links(session: Session, rows: list[dict[str, Any]]) -> tuple[str, ...]:
    taken = day_rows.taken_links(session, [row["link_token"] for row in rows])
    renewed = []
    for row in rows:
        if row["link_token"] in taken:
            row["link_token"] = secrets.token_urlsafe(pilots.TOKEN_BYTES)
            renewed.append(row["callsign"])
    return tuple(renewed)


def _refuse_odd_callsigns(content: DayContent, file: str) -> None:
    for number, pilot in enumerate(content.pilots, start=1):
        if pilot.callsign_key != callsign_key(pilot.callsign) or not pilot.callsign_key:
            place = f"content, pilots, {number}, callsign_key"
            raise day_files.faulty(file, place, _("this is not the key of the callsign"))


def _refuse_what_cannot_be_shown(session: Session, day: FieldDay, file: str, at: datetime) -> None:
    """Look at the day as its pages do: what they could not show would break them at the field."""
    try:
        session.expire_all()
        days.settings_of(day), days.rule_set_of(day), days.allowed_mhz(day)
        now = DayNow(session, day)
        board_of_day(session, now)
        standing(session, day)
        slots_of_day(session, now)
        now.flying.desk()
        line_desk(session, day, at)
        trouble_desk(session, day)
        timeline_at(session, day, at)
        for sheet in every_sheet(session, day):
            sheet.pilots  # noqa: B018 worked out when asked for
    except OperationalError:
        raise  # the database fails, not the file
    except Exception as error:
        log.info("a day that was to be brought in cannot be shown", exc_info=True)
        reason = _("Bandstand could not show this day (%(fault)s)", fault=type(error).__name__)
        raise day_files.faulty(file, "content", reason) from None
