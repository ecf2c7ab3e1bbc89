"""The first page and the public board."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.services import board, days, live
from server.web.dependencies import DatabaseOfApp, FragmentsOfApp, IsDirector, SettingsOfApp, public
from server.web.fragments import answer_poll
from server.web.pages import BoardPage, NoDayPage
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter()


@router.get("/")
@public
def show_first_page(request: Request, database: DatabaseOfApp, is_director: IsDirector) -> Response:
    with database.read() as session:
        day = days.current_day(session)
    if is_director:
        return RedirectResponse(f"/days/{day.code}/check-in" if day else "/days", 303)
    return RedirectResponse(f"/board/{day.code}", 303) if day else render(request, NoDayPage())


@router.get("/board/{code}")
@public
def show_board(request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp) -> Response:
    with database.read() as session:
        shown = board.board_of(session, _typed(code))
    return render(request, BoardPage(board=shown, heartbeat_ms=round(settings.heartbeat_s * 1000)))


@router.get("/board/{code}/stream")
@public
async def stream_board(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(board.board_of(session, _typed(code)))

    return await open_stream(request, live.board_topic(_typed(code)), current)


@router.get("/board/{code}/state")
@public
def poll_board(request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    with database.read() as session:
        shown = board.board_of(session, _typed(code))
    return answer_poll(request, fragments.state(shown))


def _typed(code: str) -> str:
    """Phones begin what is typed with a capital letter."""
    return code.lower()
