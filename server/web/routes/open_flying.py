"""Open flying at the desk: open and close it, ask for pilots without a phone, and help every turn along."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import live, open_flying, pilots, turn_desk, turns
from server.services.access import DIRECTOR
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.live import Hub
from server.services.turn_views import OpenFlyingNow
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.dependencies import DatabaseOfApp, FragmentsOfApp, HubOfApp, Now, RowNumber, SettingsOfApp
from server.web.form_text import FormText
from server.web.fragments import answer_poll
from server.web.live_mark import live_mark
from server.web.pages import OpenFlyingPage
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter(prefix="/days/{code}/open-flying")

TAB = "open-flying"

Act = Callable[[Session, FieldDay], None]


@router.get("")
def show_open_flying(
    request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp
) -> Response:
    return render(request, _page(database, settings, code))


@router.get("/stream")
async def stream_desk(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(OpenFlyingNow(session, day_with(session, code)).desk())

    return await open_stream(request, live.desk_topic(code), current)


@router.get("/state")
def poll_desk(request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    with database.read() as session:
        desk = OpenFlyingNow(session, day_with(session, code)).desk()
    return answer_poll(request, fragments.state(desk))


@router.post("")
def open_or_close(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        if form.get("state") == "closed":
            open_flying.close(session, day, DIRECTOR, now)
        else:
            open_flying.open_up(session, day, form.get("beside") == "yes", DIRECTOR, now)

    return _do(request, code, database, settings, hub, act)


@router.post("/line")
def do_line(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turn_desk.do_line(session, day, form.get("line", ""), DIRECTOR, now)

    return _do(request, code, database, settings, hub, act, form.get("line", ""))


@router.post("/turns/{turn_id}/undo")
def undo_end(
    request: Request,
    code: str,
    turn_id: RowNumber,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turns.restore(session, day, turns.turn_of(session, day, turn_id), DIRECTOR, now)

    return _do(request, code, database, settings, hub, act)


@router.post("/turns/{turn_id}/{name}")
def act_on_turn(
    request: Request,
    code: str,
    turn_id: RowNumber,
    name: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        turn = turns.turn_of(session, day, turn_id)
        turns.act(session, day, turn, form.get("seen", ""), name, DIRECTOR, now)

    return _do(request, code, database, settings, hub, act)


def _do(
    request: Request, code: str, database: Database, settings: Settings, hub: Hub, act: Act, line: str = ""
) -> Response:
    """Do it in one transaction, tell everybody, and go back to the page; what was refused stands on it."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            act(session, day)
    except InputError as error:
        page = _page(database, settings, code, line, tuple(error.faults.values()))
        return render(request, page, 422)
    except (RefusedError, OvertakenError) as error:
        status = 409 if isinstance(error, OvertakenError) else 422
        return render(request, _page(database, settings, code, line, notice=str(error)), status)
    assert day.id is not None
    live.announce(database, hub, day.id)
    return RedirectResponse(f"/days/{day.code}/open-flying", 303)


def _page(
    database: Database,
    settings: Settings,
    code: str,
    line: str = "",
    faults: tuple[str, ...] = (),
    notice: str = "",
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
        )
