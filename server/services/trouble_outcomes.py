"""The outcome of a test of a bad picture: entered by one press, weighed, and taken back where it was a slip."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.allocator.trouble_tests import NOT_TOLD
from server.services.errors import InputError, RefusedError
from server.services.roles import acting
from server.services.trouble import one_test, open_as_seen
from server.services.trouble_case import StoredCase
from server.storage import logbook
from server.storage.tables import FieldDay, TroubleReport
from server.wording import gettext as _
from server.wording import marked

COULD_NOT_TELL = marked("Could not tell")


def enter(
    session: Session, day: FieldDay, report_id: int, seen: str, key: str, outcome: str, at: datetime
) -> TroubleReport:
    """Note what a test showed, and rank the causes anew.

    key      of the test
    outcome  of its presses, or NOT_TOLD

    Raises InputError for another test or outcome, RefusedError for a test that was done, and OvertakenError.
    """
    row = open_as_seen(session, day, report_id, seen)
    test = one_test(row, key)
    words = {**dict(test["presses"]), NOT_TOLD: _(COULD_NOT_TELL)}.get(outcome)
    if words is None:
        raise InputError({"outcome": _("There is no such outcome: use the buttons of the page.")})
    done = json.loads(row.outcomes_json)
    if any(one["test"] == key for one in done):
        raise RefusedError(_("This test was done. Take its outcome back first, if it is another."))
    asked = {"do": test["do"], "question": test["question"], "words": words}
    entered = {"test": key, "outcome": outcome, **asked, "who": acting(session), "at": at.isoformat()}
    if row.answer == test["do"]:
        row.answer, row.answered_at = "", None
    text = _(
        "Trouble of %(callsign)s: %(test)s %(question)s %(outcome)s.",
        callsign=row.callsign,
        test=test["do"],
        question=test["question"],
        outcome=words,
    )
    _weigh(session, row, [*done, entered])
    _log(session, day, row, "trouble outcome", text, key, at)
    return row


def take_back(session: Session, day: FieldDay, report_id: int, seen: str, at: datetime) -> TroubleReport:
    """Forget the last outcome. Raises RefusedError where there is none, and OvertakenError."""
    row = open_as_seen(session, day, report_id, seen)
    done = json.loads(row.outcomes_json)
    if not done:
        raise RefusedError(_("No outcome of this report is left to take back."))
    last = done.pop()
    text = _(
        "Trouble of %(callsign)s, outcome taken back: %(question)s %(outcome)s.",
        callsign=row.callsign,
        question=last["question"],
        outcome=last["words"],
    )
    _weigh(session, row, done)
    _log(session, day, row, "trouble outcome taken back", text, last["test"], at)
    return row


def _weigh(session: Session, row: TroubleReport, done: Sequence[Mapping[str, Any]]) -> None:
    case = StoredCase.read(row.case_json)
    causes = case.causes({one["test"]: one["outcome"] for one in done})
    row.outcomes_json = json.dumps(done, ensure_ascii=False)
    row.causes_json = json.dumps(causes, ensure_ascii=False)
    session.add(row)
    session.flush()


def _log(
    session: Session, day: FieldDay, row: TroubleReport, action: str, text: str, key: str, at: datetime
) -> None:
    likeliest = [{"title": one["title"], "chance": one["chance"]} for one in json.loads(row.causes_json)[:3]]
    facts = {"report_id": row.id, "test": key, "likeliest": likeliest}
    logbook.append(session, day.id, acting(session), action, text, facts, at)
