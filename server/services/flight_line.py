"""What holds for everybody of a day at the flight line: EVERYBODY LAND, walkers on the field, hours of the day."""

import json
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import flight_states
from server.services.errors import InputError, RefusedError
from server.services.flight_states import pilot_after
from server.storage import calls, clearances, logbook, turns
from server.storage.tables import (
    CALLED_OFF,
    CLEARED,
    FLYING,
    LANDING,
    ON,
    OVER,
    POWER_UP,
    Call,
    CallSlot,
    FieldDay,
    FlightLine,
)
from server.wording import gettext as _
from server.wording import marked

NO_REASON = marked("The director calls everybody down.")
MOST_WORDS = 200

_HOUR = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


def line_of(session: Session, day: FieldDay) -> FlightLine:
    """The day's row to read: one with nothing set, which is stored nowhere, before its first use."""
    assert day.id is not None
    return calls.line_of(session, day.id) or FlightLine(field_day_id=day.id)


def line_to_change(session: Session, day: FieldDay) -> FlightLine:
    """The day's row, made at its first use."""
    assert day.id is not None
    return calls.line_of(session, day.id) or calls.add_line(session, FlightLine(field_day_id=day.id))


def check_open(day: FieldDay) -> None:
    """Raises RefusedError for a day that was put away."""
    if day.archived_at is not None:
        raise RefusedError(_("This field day is archived: bring it back first."))


def everybody_land(session: Session, day: FieldDay, reason: str, who: str, at: datetime) -> None:
    """EVERYBODY LAND, at once: who flies lands, whoever may be on disarms and powers off, nobody is called.

    What was called or given stays with the pilots on their way out: lifting it sends nobody up again. A second
    press gives it another reason, or changes nothing. It works on an archived day too.
    """
    line = line_to_change(session, day)
    reason = _words(reason)
    if line.everybody_land_at is not None and reason in ("", line.everybody_land_reason):
        return
    is_new = line.everybody_land_at is None
    line.everybody_land_at = line.everybody_land_at or at
    line.everybody_land_reason, line.everybody_land_who = reason or _(NO_REASON), who
    line.last_step_json = ""
    moved = {}
    if is_new:
        moved = {**_land_call(session, day, at), **_land_turns(session, day), **_call_off_pits(session, day)}
    text = _("EVERYBODY LAND. %(reason)s", reason=line.everybody_land_reason)
    log(session, day, who, "everybody land", text, {"reason": reason, "moved": moved}, at)


def land_mark(line: FlightLine) -> str:
    """Which EVERYBODY LAND is on, so that a page of an earlier one does not lift it; empty while none is."""
    return line.everybody_land_at.isoformat() if line.everybody_land_at else ""


def lift(session: Session, day: FieldDay, who: str, at: datetime) -> None:
    """Let the day go on: nobody flies by this alone. A second press changes nothing."""
    since = line_of(session, day).everybody_land_at
    if since is None:
        return
    line = line_to_change(session, day)
    line.everybody_land_at, line.everybody_land_reason, line.everybody_land_who = None, "", ""
    facts = {"since": since.isoformat(timespec="seconds")}
    text = _("EVERYBODY LAND is lifted: the day goes on.")
    log(session, day, who, "everybody land lifted", text, facts, at)


def set_walkers(session: Session, day: FieldDay, are_there: bool, who: str, at: datetime) -> None:
    """Say that people walk on the field, or that it is clear again. A second press changes nothing."""
    check_open(day)
    if (line_of(session, day).walkers_since is not None) == are_there:
        return
    line = line_to_change(session, day)
    line.walkers_since = at if are_there else None
    line.last_step_json = ""
    text = _("Walkers on the field: nobody powers up.") if are_there else _("The field is clear of walkers.")
    log(session, day, who, "walkers on the field" if are_there else "field clear", text, {}, at)


def save_hours(
    session: Session, day: FieldDay, typed: Mapping[str, str], who: str, at: datetime
) -> FlightLine:
    """Keep `starts_at` and `ends_by`, hours as on the day's clocks, and `beside`, whether pits may be clear by
    computation. Raises InputError.
    """
    check_open(day)
    hours, faults = {}, {}
    for name in ("starts_at", "ends_by"):
        text = typed.get(name, "").strip()
        hour = _HOUR.fullmatch(text)
        if text and not hour:
            faults[name] = _("Write an hour as 9:30 or 17:00, or leave it empty.")
        hours[name] = f"{int(hour[1]):02}:{hour[2]}" if hour else ""
    if not faults and hours["starts_at"] and hours["ends_by"] and hours["ends_by"] <= hours["starts_at"]:
        faults["ends_by"] = _(
            "The end has to lie after the start, %(starts_at)s.", starts_at=hours["starts_at"]
        )
    if faults:
        raise InputError(faults)
    line = line_of(session, day)
    beside = typed.get("beside") == "yes"
    if (line.starts_at, line.ends_by, line.may_clear_beside) == (*hours.values(), beside):
        return line
    line = line_to_change(session, day)
    line.starts_at, line.ends_by, line.may_clear_beside = hours["starts_at"], hours["ends_by"], beside
    starts, ends = line.starts_at or _("no set hour"), line.ends_by or _("no set hour")
    pits = (
        _("Pits beside a heat: clear by computation may power up.")
        if beside
        else _("Pits beside a heat: wait.")
    )
    text = f"{_('Starts at %(starts)s, ends by %(ends)s.', starts=starts, ends=ends)} {pits}"
    log(session, day, who, "hours of the day", text, {**hours, "beside": beside}, at)
    return line


def log(
    session: Session,
    day: FieldDay,
    who: str,
    action: str,
    text: str,
    facts: Mapping[str, Any],
    at: datetime,
) -> None:
    """The logbook's row of what happened at the flight line."""
    session.flush()
    logbook.append(session, day.id, who, action, text, facts, at)


def remember(session: Session, day: FieldDay, undo: Mapping[str, Any] | None) -> None:
    """Keep what would take the last step back; None where nothing does."""
    line = line_to_change(session, day)
    line.last_step_json = json.dumps(undo) if undo else ""


def _land_call(session: Session, day: FieldDay, at: datetime) -> dict[str, str]:
    """Everybody of the live call on the way out; by callsign, the stage after it."""
    call = calls.live(session, day.id or 0)
    if call is None or call.id is None:
        return {}
    return stand_everybody_down(call, calls.slots_of(session, call.id), at)


def stand_everybody_down(call: Call, slots: list[CallSlot], at: datetime) -> dict[str, str]:
    """The call to landing, not counted as flown unless somebody says so, and each pilot off the line.

    By callsign, the stage after it.
    """
    moved = {}
    for slot in slots:
        event = flight_states.STAND_DOWN_BY.get(slot.stage)
        if event is not None:
            slot.stage, slot.changed_at = pilot_after(slot.stage, event, slot.callsign), at
            moved[slot.callsign] = slot.stage
    if call.stage not in (LANDING, OVER):
        call.counts = False
        call.stage = flight_states.call_after(call.stage, flight_states.STOP, _("The heat"))
    return moved


def _land_turns(session: Session, day: FieldDay) -> dict[str, str]:
    """Everybody at open flying who was told to power up; by the number of the turn, the stage after it."""
    moved = {}
    for turn in turns.live(session, day.id or 0):
        if turn.stage in (POWER_UP, FLYING):
            turn.stage = LANDING
            moved[f"turn {turn.id}"] = turn.stage
    return moved


def _call_off_pits(session: Session, day: FieldDay) -> dict[str, str]:
    """Everybody outside a call who may be on; by the number of the clearance, the stage after it."""
    moved = {}
    for clearance in clearances.live(session, day.id or 0):
        if clearance.stage in (CLEARED, ON):
            clearance.stage = CALLED_OFF
            moved[f"clearance {clearance.id}"] = clearance.stage
    return moved


def words_of(text: str, name: str) -> str:
    """The director's words for the logbook, in single spaces and never cut. Raises InputError, with a fault of
    `name`, where they are too long.
    """
    words = " ".join(text.split())
    if len(words) > MOST_WORDS:
        raise InputError(
            {
                name: _(
                    "The logbook takes %(most)s letters here, and these are %(number)s. Say it shorter.",
                    most=MOST_WORDS,
                    number=len(words),
                )
            }
        )
    return words


def why_overridden(text: str) -> str:
    """The words by which somebody powers up all the same. Raises InputError, with a fault of `words`, where there
    are none or too many.
    """
    words = words_of(text, "words")
    if not words:
        raise InputError({"words": _("Write why it may power up now: the words go to the logbook.")})
    return words


def _words(reason: str) -> str:
    return " ".join(reason.split())[:MOST_WORDS]
