"""Trouble: a pilot reports a bad picture, the desk gets the likeliest causes with a test and a cure, and says what
came of it. Every step is a row of the logbook.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.allocator.trouble import Report, case_of
from server.allocator.trouble_choice import SURE
from server.allocator.trouble_signs import FLICKER, ONSETS, SYMPTOMS
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.roles import acting
from server.services.trouble_air import AirNow, air_now
from server.services.trouble_case import StoredCase
from server.services.trouble_words import ONSET_WORDS, SYMPTOM_WORDS
from server.storage import logbook
from server.storage import trouble_reports as stored
from server.storage.tables import FieldDay, Pilot, TroubleReport
from server.wording import gettext as _
from server.wording import marked

BY_ITSELF = marked("cleared by itself")


@dataclass(frozen=True)
class ReportView:
    """One report as the desk shows it.

    causes    as in `trouble_words.cause_facts`, the likeliest first
    tests     as in `StoredCase.tests`, what can be done now, the one that tells most first
    outcomes  as `trouble_outcomes.enter` keeps them, the first one first
    is_sure   the first cause is likely enough to be cured
    """

    id: int
    seen: str
    callsign: str
    told: str
    at: datetime
    who: str
    causes: Sequence[Mapping[str, Any]]
    answer: str
    closed_as: str
    tests: Sequence[Mapping[str, Any]]
    outcomes: Sequence[Mapping[str, Any]]

    @property
    def is_sure(self) -> bool:
        return bool(self.causes) and self.causes[0]["chance"] >= SURE


def report(
    session: Session, day: FieldDay, pilot: Pilot, typed: Mapping[str, str], who: str, at: datetime
) -> TroubleReport:
    """Take down what a pilot sees, and rank the causes.

    typed  symptom, and where they are known near (a callsign of somebody in the air) and onset

    A new report takes the place of the same pilot's open one. Raises InputError, and RefusedError for a pilot who
    is not on as called: powering up, picture clear, or in the air.
    """
    now = air_now(session, day)
    if pilot.id not in now.up:
        raise RefusedError(
            _(
                "%(callsign)s is not on as called: a report can be taken from the turn to power up until the "
                "landing. Call to the director.",
                callsign=pilot.callsign,
            )
        )
    told = _read(typed, now, pilot.callsign)
    before = stored.still_open(session, day.id or 0)
    also = frozenset(one.callsign for one in before if one.pilot_id != pilot.id and one.pilot_id in now.up)
    case = StoredCase.of(case_of(now.air, replace(told, also=also)), now.air, told.callsign)
    causes = case.causes({})
    for one in before:
        if one.pilot_id == pilot.id:
            _close(session, one, marked("reported again"), at)
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
            case_json=case.text(),
        ),
    )
    text = _("Trouble: %(callsign)s sees %(told)s.", callsign=pilot.callsign, told=told_words(row))
    first = [{"title": one["title"], "chance": one["chance"]} for one in causes[:3]]
    logbook.append(session, day.id, who, "trouble", text, {"report_id": row.id, "likeliest": first}, at)
    return row


def answer(
    session: Session, day: FieldDay, report_id: int, seen: str, key: str, at: datetime
) -> TroubleReport:
    """Tell the pilot to do one of the tests, by its key. Raises InputError, OvertakenError."""
    row = open_as_seen(session, day, report_id, seen)
    row.answer, row.answered_at = one_test(row, key)["do"], at
    text = _("Trouble of %(callsign)s, test: %(test)s", callsign=row.callsign, test=row.answer)
    session.flush()
    logbook.append(
        session, day.id, acting(session), "trouble test", text, {"report_id": row.id, "test": key}, at
    )
    return row


def one_test(row: TroubleReport, key: str) -> Mapping[str, Any]:
    """One of the tests of a report. Raises InputError for any other."""
    try:
        return StoredCase.read(row.case_json).test(key)
    except (KeyError, ValueError):
        raise InputError({"test": _("There is no such test: use the buttons of the page.")}) from None


def close(
    session: Session, day: FieldDay, report_id: int, seen: str, place: int | None, at: datetime
) -> TroubleReport:
    """Say what it was: one of the causes by its place; None: it cleared by itself. Raises OvertakenError."""
    row = open_as_seen(session, day, report_id, seen)
    what = BY_ITSELF if place is None else _cause_at(row, place)["title"]
    _close(session, row, what, at)
    text = _("Trouble of %(callsign)s is over: %(what)s.", callsign=row.callsign, what=_(what))
    logbook.append(session, day.id, acting(session), "trouble over", text, {"report_id": row.id}, at)
    return row


def open_reports(session: Session, day: FieldDay, up: Collection[str]) -> list[ReportView]:
    """The newest first; `up` are the callsigns of who is in the air."""
    return [_view(row, up) for row in reversed(stored.still_open(session, day.id or 0))]


def last_closed(session: Session, day: FieldDay, limit: int = 5) -> list[ReportView]:
    return [_view(row, ()) for row in stored.closed(session, day.id or 0, limit)]


def told_words(row: TroubleReport) -> str:
    """What was reported: "lines or bars across it, when Otter is near, all of a sudden"."""
    words = _(SYMPTOM_WORDS.get(row.symptom, row.symptom))
    parts = [f"{words[:1].lower()}{words[1:]}"]
    if row.near and row.symptom == FLICKER:
        parts = [_("flicker when %(near)s is near", near=row.near)]
    elif row.near:
        parts.append(_("when %(near)s is near", near=row.near))
    if row.onset:
        onset = _(ONSET_WORDS[row.onset])
        parts.append(f"{onset[:1].lower()}{onset[1:]}")
    return ", ".join(parts)


def _read(typed: Mapping[str, str], now: AirNow, callsign: str) -> Report:
    faults = {}
    symptom, near, onset = (typed.get(name, "") for name in ("symptom", "near", "onset"))
    if symptom not in SYMPTOMS:
        faults["symptom"] = _("Say what is seen: choose one of the five.")
    if near and near not in now.names.values():
        faults["near"] = _("%(near)s is not on as called now. Choose who is near, or nobody.", near=near)
    if onset and onset not in ONSETS:
        faults["onset"] = _("Choose from the start, all of a sudden, or leave it open.")
    if faults:
        raise InputError(faults)
    return Report(callsign, symptom, near if near and near != callsign else None, onset or None)


def open_as_seen(session: Session, day: FieldDay, report_id: int, seen: str) -> TroubleReport:
    """A report that is open still and was not changed since. Raises OvertakenError."""
    row = next((one for one in stored.still_open(session, day.id or 0) if one.id == report_id), None)
    if row is None or seen != str(row.version):
        raise OvertakenError(_("This report is not as this page shows it: somebody answered or closed it."))
    return row


def _cause_at(row: TroubleReport, place: int) -> Mapping[str, Any]:
    causes = json.loads(row.causes_json)
    if not 0 <= place < len(causes):
        raise InputError({"cause": _("There is no such cause: use the buttons of the page.")})
    found: Mapping[str, Any] = causes[place]
    return found


def _close(session: Session, row: TroubleReport, what: str, at: datetime) -> None:
    row.closed_at, row.closed_as = at, what
    session.add(row)
    session.flush()


def _view(row: TroubleReport, up: Collection[str]) -> ReportView:
    outcomes = json.loads(row.outcomes_json)
    done = {one["test"]: one["outcome"] for one in outcomes}
    is_open = row.closed_at is None and row.case_json
    return ReportView(
        row.id or 0,
        str(row.version),
        row.callsign,
        told_words(row),
        row.at,
        row.who,
        json.loads(row.causes_json),
        row.answer,
        _(row.closed_as),
        StoredCase.read(row.case_json).tests(done, up) if is_open else [],
        outcomes,
    )
