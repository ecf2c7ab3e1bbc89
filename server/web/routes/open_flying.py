"""Open flying at the desk: open and close it, ask for pilots without a phone, and help every turn along."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import day_settling, live, open_flying, pilots, saved_choices, turn_desk, turns
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.roles import DIRECTOR, acting
from server.services.stale_forms import StaleFormError, check_fresh
from server.services.turn_views import OpenFlyingNow
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.both_versions import both_versions
from server.web.dependencies import (
    DatabaseOfApp,
    FragmentsOfApp,
    RowNumber,
    SettingsOfApp,
    needs,
)
from server.web.form_text import overtakable
from server.web.fragments import answer_poll
from server.web.live_mark import live_mark
from server.web.pages import OpenFlyingPage
from server.web.presses import Press, PressOfApp, status_of
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter(prefix="/days/{code}/open-flying")

TAB = "open-flying"

Act = Callable[[Session, FieldDay], None]


@router.get("")
@needs(DIRECTOR)
def show_open_flying(
    request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp
) -> Response:
    return render(request, _page(database, settings, code))


@router.get("/stream")
@needs(DIRECTOR)
async def stream_desk(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(OpenFlyingNow(session, day_with(session, code)).desk())

    return await open_stream(request, live.desk_topic(code), current)


@router.get("/state")
@needs(DIRECTOR)
def poll_desk(request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    with database.read() as session:
        desk = OpenFlyingNow(session, day_with(session, code)).desk()
    return answer_poll(request, fragments.state(desk))


@router.post("")
@needs(DIRECTOR)
def open_or_close(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        if press.form.get("state") == "closed":
            open_flying.close(session, day, acting(session), press.now)
        else:
            check_fresh(overtakable(press.form), saved_choices.open_flying(session, day))
            open_flying.open_up(session, day, press.form.get("beside") == "yes", acting(session), press.now)

    return _do(press, code, act)


@router.post("/line")
@needs(DIRECTOR)
def do_line(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turn_desk.do_line(session, day, press.form.get("line", ""), acting(session), press.now)

    return _do(press, code, act, press.form.get("line", ""))


@router.post("/turns/{turn_id}/undo")
@needs(DIRECTOR)
def undo_end(press: PressOfApp, code: str, turn_id: RowNumber) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turns.restore(session, day, turns.turn_of(session, day, turn_id), acting(session), press.now)

    return _do(press, code, act)


@router.post("/turns/{turn_id}/{name}")
@needs(DIRECTOR)
def act_on_turn(press: PressOfApp, code: str, turn_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turn = turns.turn_of(session, day, turn_id)
        if name == turns.OVERRIDE:
            turns.override(
                session, day, turn, press.seen, press.form.get("words", ""), acting(session), press.now
            )
        else:
            turns.act(session, day, turn, press.seen, name, acting(session), press.now)

    return _do(press, code, act)


def _do(press: Press, code: str, act: Act, line: str = "") -> Response:
    """Do it in one transaction, tell everybody, and go back to the page; what was refused stands on it."""
    try:
        with press.database.write() as session:
            day = day_with(session, code)
            act(session, day)
            day_settling.settle(session, day, press.now)
    except StaleFormError as error:
        return both_versions(press.request, error, press.form, f"/days/{code}/open-flying")
    except InputError as error:
        on_the_line = () if press.again else tuple(error.faults.values())
        page = _page(
            press.database, press.settings, code, line, on_the_line, str(error) if press.again else "", press
        )
        return render(press.request, page, status_of(error))
    except (RefusedError, OvertakenError) as error:
        page = _page(press.database, press.settings, code, line, notice=str(error), press=press)
        return render(press.request, page, status_of(error))
    press.announce(day)
    return RedirectResponse(f"/days/{day.code}/open-flying", 303)


def _page(
    database: Database,
    settings: Settings,
    code: str,
    line: str = "",
    faults: tuple[str, ...] = (),
    notice: str = "",
    press: Press | None = None,
) -> OpenFlyingPage:
    with database.read() as session:
        day = day_with(session, code)
        return OpenFlyingPage(
            day=day,
            tab=TAB,
            live=live_mark(session, day),
            desk=OpenFlyingNow(session, day).desk(),
            callsigns=pilots.callsigns_here(session, day),
            heartbeat_ms=round(settings.heartbeat_s * 1000),
            line=line,
            faults=faults,
            notice=notice,
            again=press.again if press else "",
            form=press.form if press else {},
        )
