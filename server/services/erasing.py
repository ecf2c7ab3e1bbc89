"""Take a pilot's name out of a day, wherever it stands; what was flown, on which channel and when, stays.

The pilot becomes "Pilot 7", in the roster, in the drafts, in every published plan, in calls, reports and the
logbook.
Name, station id, note, spotter and the id of the phone that joined are emptied, and the private link is void.
"""

import json
import re
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import days, pilots
from server.services.callsigns import callsign_key
from server.services.day_imports import BROUGHT_IN
from server.services.days import day_with
from server.services.errors import RefusedError
from server.services.roles import acting
from server.storage import calls, clearances, day_rows, history, jobs, logbook, turns
from server.storage import pilots as stored_pilots
from server.storage.tables import FieldDay, Pilot
from server.wording import gettext as _
from server.wording import ngettext

ERASED = "pilot erased"

_TEXTS = {
    "pilots": ("callsign", "note", "spotter", "apart", "together"),
    "draft": ("content_json", "result_json", "undo_json"),
    "published_plans": ("snapshot_json",),
    "logbook": ("text", "data_json"),
    "flight_line": ("everybody_land_reason", "everybody_land_who", "last_step_json"),
    "calls": ("reason",),
    "call_slots": ("callsign",),
    "clearances": ("words",),
    "turns": ("why", "ended_how"),
    "trouble_reports": (
        *("callsign", "near", "answer", "closed_as"),
        *("causes_json", "case_json", "outcomes_json"),
    ),
    "down_transmitters": ("callsign",),
    "outside_signals": ("note",),
}
"""Where a callsign can stand, by part of a day's file."""

_NEVER_NAMES = ("channel", "from_channel", "to_channel", "label", "value")
"""What stands under these keys is a channel or a figure, whatever a pilot is called."""

_READS_AS_A_FIGURE = re.compile(r"[a-z]{0,2}\d+(?:[.,]\d+)?")
"""A callsign such as R3 or 25, which also stands in sentences without meaning a pilot."""
_BEFORE_WHAT_IS_MEASURED = r"(?!\s*(?:\d{4}\b|mW\b|W\b|dB|MHz|cm\b|km?\b|m\b|%|min\b|s\b))"

_KEYED_BY_NAMES = ("slots", "words")
"""Objects whose keys hold callsigns; keys elsewhere are the program's own."""


@dataclass(frozen=True)
class NamesOfDay:
    """The roster with numbers and callsigns; when a name was taken out last, None if never."""

    pilots: Sequence[tuple[int, str]]
    last_erased_at: datetime | None


def names_of(session: Session, day: FieldDay) -> NamesOfDay:
    roster = stored_pilots.of_day(session, day.id or 0)
    entries = logbook.of_actions(session, day.id or 0, [ERASED])
    return NamesOfDay(
        [(pilot.id or 0, pilot.callsign) for pilot in roster], entries[-1].at if entries else None
    )


def erase(session: Session, code: str, pilot_id: int, at: datetime) -> str:
    """Take one pilot's name out of the day; returns the new one. Raises NotFoundError, RefusedError."""
    day = day_with(session, code)
    pilot = pilots.pilot_of(session, day, pilot_id)
    _refuse_while_on(session, day, {pilot_id})
    erased = _erase(session, day, [pilot])[0]
    logbook.append(
        session,
        day.id,
        acting(session),
        ERASED,
        _("Took a name out of this day: %(pilot)s.", pilot=erased),
        {},
        at,
    )
    return erased


def archive_without_names(session: Session, code: str, at: datetime) -> int:
    """Take all names out of the day and put it away; returns how many, of those who had one still.

    Raises NotFoundError, RefusedError.
    """
    day = day_with(session, code)
    roster = stored_pilots.of_day(session, day.id or 0)
    _refuse_while_on(session, day, {pilot.id or 0 for pilot in roster})
    before = {pilot.callsign for pilot in roster}
    taken_out = len(set(_erase(session, day, roster)) - before)
    words = ngettext(
        "Took %(number)s name out of this day.", "Took %(number)s names out of this day.", taken_out
    )
    logbook.append(session, day.id, acting(session), ERASED, words, {}, at)
    days.archive(session, code, at)
    return taken_out


def _refuse_while_on(session: Session, day: FieldDay, pilot_ids: set[int]) -> None:
    called = calls.live(session, day.id or 0)
    on = {one.pilot_id for one in calls.slots_of(session, called.id or 0)} if called else set()
    on |= {one.pilot_id for one in turns.live(session, day.id or 0)}
    on |= {one.pilot_id for one in clearances.live(session, day.id or 0)}
    if on & pilot_ids:
        raise RefusedError(
            _("Not while a transmitter may be on under this name: end the heat, the turn or the wish first.")
        )


def _erase(session: Session, day: FieldDay, chosen: list[Pilot]) -> list[str]:
    session.flush()
    roster = stored_pilots.of_day(session, day.id or 0)
    taken = {pilot.callsign_key for pilot in roster}
    new_names: dict[str, str] = {}
    erased = []
    for number, pilot in enumerate(roster, start=1):
        if pilot not in chosen:
            continue
        old_names = {
            pilot.callsign,
            pilot.name,
            pilot.station_id,
            *_former_callsigns(session, day, pilot),
        } - {""}
        name = pilot.callsign if old_names <= _numbers_of(number, roster) else _free_name(number, taken)
        taken.add(callsign_key(name))
        erased.append(name)
        new_names |= {old.casefold(): name for old in old_names if old != name}
        _empty(pilot, name)
    session.flush()
    _rewrite_day(session, day, new_names)
    session.expire_all()
    return erased


def _free_name(number: int, taken: set[str]) -> str:
    name = _("Pilot %(number)s", number=number)
    while callsign_key(name) in taken:
        number += 1000  # somebody flies under this very name
        name = _("Pilot %(number)s", number=number)
    return name


def _numbers_of(number: int, roster: list[Pilot]) -> set[str]:
    """All that can stand in place of this pilot's name: whoever is called so has none any more."""
    numbers = range(number, number + 1000 * (len(roster) + 1), 1000)
    return {_("Pilot %(number)s", number=one) for one in numbers}


def _empty(pilot: Pilot, name: str) -> None:
    pilot.callsign, pilot.callsign_key = name, callsign_key(name)
    pilot.name = pilot.station_id = pilot.note = pilot.spotter = ""
    pilot.adult_present, pilot.join_id = False, None
    pilot.link_token = secrets.token_urlsafe(pilots.TOKEN_BYTES)


def _former_callsigns(session: Session, day: FieldDay, pilot: Pilot) -> Iterable[str]:
    for entry in logbook.of_actions(session, day.id or 0, ["pilot changed"]):
        facts = json.loads(entry.data_json)
        if facts.get("pilot_id") == pilot.id and "callsign" in facts:
            yield from facts["callsign"]


def replacing(new_names: Mapping[str, str]) -> Callable[[str], str]:
    """Puts new names in the place of old ones, as whole words, however they are written; by case-folded name.

    A name that reads as a channel or a figure stays where MHz or a unit follows it: there it is none.
    """
    longest_first = sorted(new_names, key=len, reverse=True)
    patterns = [
        re.escape(name) + (_BEFORE_WHAT_IS_MEASURED if _READS_AS_A_FIGURE.fullmatch(name) else "")
        for name in longest_first
    ]
    found = re.compile(rf"(?<!\w)({'|'.join(patterns)})(?!\w)", re.IGNORECASE)
    return lambda text: found.sub(lambda match: new_names.get(match[1].casefold(), match[1]), text)


def _rewrite_day(session: Session, day: FieldDay, new_names: dict[str, str]) -> None:
    if not new_names:
        return
    replaced = replacing(new_names)
    jobs.forget_day(session, day.id or 0)
    with history.rewriting(session):
        for part, columns in _TEXTS.items():
            for row in _rows(session, day, part):
                before = {column: getattr(row, column) for column in columns}
                after = {
                    column: _in_json(text, replaced) if column.endswith("_json") and text else replaced(text)
                    for column, text in before.items()
                }
                changed = {column: text for column, text in after.items() if text != before[column]}
                if changed:
                    history.rewrite(session, part, row.id, changed)


def _rows(session: Session, day: FieldDay, part: str) -> Iterable[Any]:
    yield from day_rows.of_day(session, day.id or 0, part)
    if part == "logbook":
        yield from logbook.of_machine(session, BROUGHT_IN)  # it names pilots whose link was new


def _in_json(text: str, replaced: Callable[[str], str]) -> str:
    if replaced(text) == text and "\\u" not in text:
        return text
    return json.dumps(_in_value(json.loads(text), replaced), ensure_ascii=False)


def _in_value(value: Any, replaced: Callable[[str], str], is_keyed: bool = False) -> Any:
    if isinstance(value, str):
        # A step of undo holds a draft as text inside the text.
        return _in_json(value, replaced) if value.startswith('{"heats"') else replaced(value)
    if isinstance(value, list):
        return [_in_value(one, replaced) for one in value]
    if isinstance(value, dict):
        return {
            replaced(key) if is_keyed else key: (
                one
                if key in _NEVER_NAMES and not is_keyed
                else _in_value(one, replaced, key in _KEYED_BY_NAMES)
            )
            for key, one in value.items()
        }
    return value
