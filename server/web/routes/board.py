"""The first page and the public board."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.services import board, clubs, days, live
from server.services.days import typed_code
from server.services.errors import NotFoundError
from server.web.dependencies import DatabaseOfApp, FragmentsOfApp, Now, SettingsOfApp, WhoLooks, public
from server.web.fragments import answer_poll
from server.web.pages import BoardPage, NoDayPage, WhichBoardPage
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter()


@router.get("/")
@public
def show_first_page(
    request: Request, database: DatabaseOfApp, who: WhoLooks, now: Now, code: str = ""
) -> Response:
    """The board of the day, or where there are several clubs the question for which; for the crew, its day."""
    if code:
        return _find_board(request, database, typed_code(code))
    with database.read() as session:
        existing = clubs.all_clubs(session)
        club_id = who.club_id if who else existing[0].id or 0
        day = days.current_day(session, club_id, now)
    if who:
        return RedirectResponse(f"/days/{day.code}/check-in" if day else "/days", 303)
    if len(existing) > 1:
        return render(request, WhichBoardPage())
    return RedirectResponse(f"/board/{day.code}", 303) if day else render(request, NoDayPage())


def _find_board(request: Request, database: DatabaseOfApp, code: str) -> Response:
    try:
        with database.read() as session:
            day = days.day_with(session, code)
    except NotFoundError as error:
        return render(request, WhichBoardPage(code=code, error=str(error)), 404)
    return RedirectResponse(f"/board/{day.code}", 303)


@router.get("/board/{code}")
@public
def show_board(request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp) -> Response:
    with database.read() as session:
        shown = board.board_of(session, typed_code(code))
    return render(request, BoardPage(board=shown, heartbeat_ms=round(settings.heartbeat_s * 1000)))


@router.get("/board/{code}/stream")
@public
async def stream_board(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(board.board_of(session, typed_code(code)))

    return await open_stream(request, live.board_topic(typed_code(code)), current)


@router.get("/board/{code}/state")
@public
def poll_board(request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    with database.read() as session:
        shown = board.board_of(session, typed_code(code))
    return answer_poll(request, fragments.state(shown))
