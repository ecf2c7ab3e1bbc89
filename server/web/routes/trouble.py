"""Trouble: the director's desk of reports, and the pilot's own button."""

from collections.abc import Callable
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool

from server.services import live, trouble, trouble_outcomes
from server.services.days import day_with
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.pilots import pilot_of
from server.services.roles import DIRECTOR, acting
from server.services.trouble_views import TroubleDesk, trouble_desk
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.dependencies import (
    DatabaseOfApp,
    FragmentsOfApp,
    RowNumber,
    SettingsOfApp,
    needs,
)
from server.web.form_text import FormText, whole_number
from server.web.fragments import answer_poll
from server.web.presses import Press, PressOfApp, status_of
from server.web.stream import State, open_stream
from server.web.templating import render
from server.web.trouble_pages import TroublePage, trouble_page
from server.wording import gettext as _

router = APIRouter()

REFUSALS = (InputError, NotFoundError, OvertakenError, RefusedError)


@router.get("/days/{code}/line/trouble")
@needs(DIRECTOR)
def show_trouble(request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp) -> Response:
    return render(request, _page(database, settings, code))


@router.get("/days/{code}/line/trouble/stream")
@needs(DIRECTOR)
async def stream_trouble(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        return fragments.state(_desk(database, code))

    await run_in_threadpool(_desk, database, code)
    return await open_stream(request, live.trouble_topic(code), current)


@router.get("/days/{code}/line/trouble/state")
@needs(DIRECTOR)
def poll_trouble(request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    return answer_poll(request, fragments.state(_desk(database, code)))


@router.post("/days/{code}/line/trouble")
@needs(DIRECTOR)
def take_report(press: PressOfApp, code: str) -> Response:
    """The director takes down what a pilot calls."""

    def act(session: Session, day: FieldDay) -> None:
        if not press.form.get("pilot"):
            raise InputError({"pilot": _("Choose who calls it.")})
        pilot = pilot_of(session, day, whole_number(press.form, "pilot"))
        trouble.report(session, day, pilot, press.form, acting(session), press.now)

    return _do(press, code, act)


@router.post("/days/{code}/line/trouble/{report_id}/{name}")
@needs(DIRECTOR)
def act_on_report(press: PressOfApp, code: str, report_id: RowNumber, name: str) -> Response:
    """`test` tells the pilot a test, `outcome` says what it showed, `undo` takes the last outcome back, `over`
    says what it was, without a cause: by itself.
    """

    def act(session: Session, day: FieldDay) -> None:
        _act(session, day, report_id, name, press.form, press.now)

    return _do(press, code, act)


def _act(session: Session, day: FieldDay, report_id: int, name: str, form: FormText, now: datetime) -> None:
    seen = form.get("seen", "")
    place = whole_number(form, "cause") if form.get("cause") else None
    if name == "over":
        trouble.close(session, day, report_id, seen, place, now)
    elif name == "test":
        trouble.answer(session, day, report_id, seen, form.get("test", ""), now)
    elif name == "outcome":
        outcome = form.get("outcome", "")
        trouble_outcomes.enter(session, day, report_id, seen, form.get("test", ""), outcome, now)
    elif name == "undo":
        trouble_outcomes.take_back(session, day, report_id, seen, now)
    else:
        raise NotFoundError(_("There is no such act on a report."))


def _do(press: Press, code: str, act: Callable[[Session, FieldDay], None]) -> Response:
    """Do it, tell everybody, and go back to the desk; what was refused stands on it, with what was typed."""
    try:
        with press.database.write() as session:
            day = day_with(session, code)
            act(session, day)
    except REFUSALS as error:
        page = _page(press.database, press.settings, code, press.form, error)
        return render(press.request, page, status_of(error))
    press.announce(day)
    return RedirectResponse(f"/days/{code}/line/trouble", 303)


def _page(
    database: Database,
    settings: Settings,
    code: str,
    form: FormText | None = None,
    error: Exception | None = None,
) -> TroublePage:
    with database.read() as session:
        day = day_with(session, code)
        return trouble_page(session, day, round(settings.heartbeat_s * 1000), form, error)


def _desk(database: Database, code: str) -> TroubleDesk:
    with database.read() as session:
        return trouble_desk(session, day_with(session, code))
