"""Trouble: a pilot reports a bad picture, the desk gets the likeliest causes with a test and a cure, and says what
came of it. Every step is a row of the logbook.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.allocator.trouble import Report, rank
from server.allocator.trouble_signs import FLICKER, ONSETS, SYMPTOMS
from server.services.access import DIRECTOR
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.trouble_air import AirNow, air_now
from server.services.trouble_words import ONSET_WORDS, SYMPTOM_WORDS, cause_facts
from server.storage import logbook
from server.storage import trouble_reports as stored
from server.storage.tables import FieldDay, Pilot, TroubleReport

MOST_CAUSES = 12
BY_ITSELF = "cleared by itself"


@dataclass(frozen=True)
class ReportView:
    """One report as the desk shows it; `causes` as in `trouble_words.cause_facts`, the likeliest first."""

    id: int
    seen: str
    callsign: str
    told: str
    at: datetime
    who: str
    causes: Sequence[Mapping[str, Any]]
    answer: str
    closed_as: str = ""


def report(
    session: Session, day: FieldDay, pilot: Pilot, typed: Mapping[str, str], who: str, at: datetime
) -> TroubleReport:
    """Take down what a pilot sees, and rank the causes.

    typed  symptom, and where they are known near (a callsign of somebody in the air) and onset

    A new report takes the place of the same pilot's open one. Raises InputError, and RefusedError for a pilot who
    is not known to be on in the air.
    """
    now = air_now(session, day)
    if pilot.id not in now.up:
        raise RefusedError(
            f"{pilot.callsign} is not in the air as called. Call to the director, or press Picture is clear first."
        )
    told = _read(typed, now, pilot.callsign)
    before = stored.still_open(session, day.id or 0)
    also = frozenset(one.callsign for one in before if one.pilot_id != pilot.id and one.pilot_id in now.up)
    ranked = rank(now.air, replace(told, also=also))[:MOST_CAUSES]
    causes = [cause_facts(one, now.air, told.callsign) for one in ranked]
    for one in before:
        if one.pilot_id == pilot.id:
            _close(session, one, "reported again", at)
    row = stored.add(
        session,
        TroubleReport(
            field_day_id=day.id or 0,
            pilot_id=pilot.id or 0,
            call_id=now.call_id,
            callsign=pilot.callsign,
            symptom=told.symptom,
            near=told.near or "",
            onset=told.onset or "",
            who=who,
            at=at,
            causes_json=json.dumps(causes, ensure_ascii=False),
        ),
    )
    text = f"Trouble: {pilot.callsign} sees {told_words(row)}."
    first = [{"title": one["title"], "chance": one["chance"]} for one in causes[:3]]
    logbook.append(session, day.id, who, "trouble", text, {"report_id": row.id, "likeliest": first}, at)
    return row


def answer(
    session: Session, day: FieldDay, report_id: int, seen: str, place: int, at: datetime
) -> TroubleReport:
    """Tell the pilot the test of one of the causes, by its place. Raises InputError, OvertakenError."""
    row = _open(session, day, report_id, seen)
    cause = _cause_at(row, place)
    row.answer, row.answered_at = cause["test"], at
    text = f"Trouble of {row.callsign}, test: {cause['test']}"
    session.flush()
    logbook.append(session, day.id, DIRECTOR, "trouble test", text, {"report_id": row.id}, at)
    return row


def close(
    session: Session, day: FieldDay, report_id: int, seen: str, place: int | None, at: datetime
) -> TroubleReport:
    """Say what it was: one of the causes by its place; None: it cleared by itself. Raises OvertakenError."""
    row = _open(session, day, report_id, seen)
    what = BY_ITSELF if place is None else _cause_at(row, place)["title"]
    _close(session, row, what, at)
    text = f"Trouble of {row.callsign} is over: {what}."
    logbook.append(session, day.id, DIRECTOR, "trouble over", text, {"report_id": row.id}, at)
    return row


def open_reports(session: Session, day: FieldDay) -> list[ReportView]:
    """The newest first."""
    return [_view(row) for row in reversed(stored.still_open(session, day.id or 0))]


def last_closed(session: Session, day: FieldDay, limit: int = 5) -> list[ReportView]:
    return [_view(row) for row in stored.closed(session, day.id or 0, limit)]


def told_words(row: TroubleReport) -> str:
    """What was reported: "lines or bars across it, when Otter is near, all of a sudden"."""
    words = SYMPTOM_WORDS.get(row.symptom, row.symptom)
    parts = [f"{words[:1].lower()}{words[1:]}"]
    if row.near and row.symptom == FLICKER:
        parts = [f"flicker when {row.near} is near"]
    elif row.near:
        parts.append(f"when {row.near} is near")
    if row.onset:
        parts.append(ONSET_WORDS[row.onset].lower())
    return ", ".join(parts)


def _read(typed: Mapping[str, str], now: AirNow, callsign: str) -> Report:
    faults = {}
    symptom, near, onset = (typed.get(name, "") for name in ("symptom", "near", "onset"))
    if symptom not in SYMPTOMS:
        faults["symptom"] = "Say what is seen: choose one of the five."
    if near and near not in now.names.values():
        faults["near"] = f"{near} is not in the air now. Choose who is near, or nobody."
    if onset and onset not in ONSETS:
        faults["onset"] = "Choose from the start, all of a sudden, or leave it open."
    if faults:
        raise InputError(faults)
    return Report(callsign, symptom, near if near and near != callsign else None, onset or None)


def _open(session: Session, day: FieldDay, report_id: int, seen: str) -> TroubleReport:
    row = next((one for one in stored.still_open(session, day.id or 0) if one.id == report_id), None)
    if row is None or seen != str(row.version):
        raise OvertakenError("This report is not as this page shows it: somebody answered or closed it.")
    return row


def _cause_at(row: TroubleReport, place: int) -> Mapping[str, Any]:
    causes = json.loads(row.causes_json)
    if not 0 <= place < len(causes):
        raise InputError({"cause": "There is no such cause: use the buttons of the page."})
    found: Mapping[str, Any] = causes[place]
    return found


def _close(session: Session, row: TroubleReport, what: str, at: datetime) -> None:
    row.closed_at, row.closed_as = at, what
    session.add(row)
    session.flush()


def _view(row: TroubleReport) -> ReportView:
    return ReportView(
        row.id or 0,
        str(row.version),
        row.callsign,
        told_words(row),
        row.at,
        row.who,
        json.loads(row.causes_json),
        row.answer,
        row.closed_as,
    )
