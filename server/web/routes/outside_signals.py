"""What else is on the air at the field: note it, end it, and see at once what it costs the plan."""

from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.allocator.changes import trade_offs
from server.services import live, outside_signals
from server.services import trade_offs as costs
from server.services.days import day_with
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.pilots import pilot_of
from server.services.roles import DIRECTOR
from server.services.standings import standing
from server.services.trade_offs import CHANGE, ChangeQuestion
from server.storage.tables import FieldDay, OutsideSignal
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    JobsOfApp,
    Now,
    needs,
)
from server.web.form_text import FormText, whole_number
from server.web.routes.plans import not_done, to_plan
from server.wording import gettext as _

router = APIRouter(prefix="/days/{code}/plan/outside")

REFUSALS = (InputError, NotFoundError, OvertakenError, RefusedError)


@router.post("")
@needs(DIRECTOR)
def note_signal(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    now: Now,
) -> Response:
    """Note a signal, or other video that shares the air; with heats ahead, work out what it costs."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            if jobs.running(day.id or 0):
                raise RefusedError(_("This day is being computed already. Wait for it, or cancel it first."))
            row, text = _note(session, day, form, now)
            question = _question(session, day, row, text)
        if question:
            costs.start(jobs, question, trade_offs)
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    return to_plan(code)


@router.post("/end")
@needs(DIRECTOR)
def end_signal(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    now: Now,
) -> Response:
    try:
        with database.write() as session:
            day = day_with(session, code)
            outside_signals.end(session, day, whole_number(form, "signal_id"), now)
        jobs.forget(day.id or 0, CHANGE)
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    return to_plan(code)


def _note(session: Session, day: FieldDay, form: FormText, now: datetime) -> tuple[OutsideSignal, str]:
    if form.get("shares"):
        return outside_signals.share(session, day, pilot_of(session, day, whole_number(form, "shares")), now)
    return outside_signals.note(session, day, form.get("signal", ""), now)


def _question(session: Session, day: FieldDay, row: OutsideSignal, text: str) -> ChangeQuestion | None:
    """What the planner is asked about it; None where no published heat is ahead."""
    after = standing(session, day)
    if after.published is None or len(after.draft.content.heats) <= day.flown_heats:
        return None
    undo = {"act": "outside gone", "signal_id": str(row.id)}
    return costs.ask(day, after.draft, (), text, undo)
