"""A published day that changes, with pilots of one gear and heats that a test can foresee."""

from typing import Any

from sqlmodel import Session

from server.allocator.changes import ChangedDay, trade_offs
from server.services import day_changes, flown_heats, plans
from server.services import trade_offs as costs
from server.services.day_changes import Happened
from server.services.standings import standing
from server.services.trade_offs import ChangeAnswer
from server.storage import pilots
from server.storage.tables import FieldDay
from tests.factories import NOW
from tests.services.planned_days import day_with_pilots, plan_at_once

CREW = ("Wren", "Otter", "Rook", "Quill")
"""Planned two and two: Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""


def published_day(session: Session, *callsigns: str, flown: int = 0, **values: Any) -> FieldDay:
    day = day_with_pilots(session, *(callsigns or CREW), **{"aircraft": 2, "rounds": 1} | values)
    plan_at_once(session, day)
    publish(session, day)
    if flown:
        flown_heats.next_heat(session, day, flown + 1, NOW)
    return day


def publish(session: Session, day: FieldDay, answers_for: bool = False) -> int:
    now = standing(session, day).draft
    return plans.publish(session, day, now.version, now.seen, answers_for, NOW).number


def id_of(session: Session, day: FieldDay, callsign: str) -> int:
    pilot = pilots.by_callsign_key(session, day.id or 0, callsign.casefold())
    assert pilot is not None
    assert pilot.id is not None
    return pilot.id


def happen(session: Session, day: FieldDay, act: str, **form: object) -> Happened:
    draft = standing(session, day).draft
    text = {name: str(value) for name, value in form.items()}
    return day_changes.happen(session, day, draft, {"act": act, "version": str(draft.version)} | text, NOW)


def answered(session: Session, day: FieldDay, happened: Happened) -> ChangeAnswer:
    """The rows, without a thread."""
    draft = standing(session, day).draft
    question = costs.ask(day, draft, happened.joining, happened.text, happened.undo)
    return ChangeAnswer(question, trade_offs(question.rest))


def rows_of(session: Session, day: FieldDay, act: str, **form: object) -> ChangedDay:
    return answered(session, day, happen(session, day, act, **form)).changed


def take(session: Session, day: FieldDay, answer: ChangeAnswer, place: int = 0) -> None:
    costs.take(session, day, standing(session, day).draft.version, answer, place, NOW)


def seats(session: Session, day: FieldDay) -> list[list[tuple[str, int]]]:
    heats = standing(session, day).draft.snapshot["heats"]
    return [[(slot["callsign"], slot["mhz"]) for slot in heat["slots"]] for heat in heats]
