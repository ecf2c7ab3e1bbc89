"""A pilot's own page, behind a private link."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from starlette.concurrency import run_in_threadpool

from server.services import live, slots
from server.services.errors import NotFoundError
from server.services.slots import MySlot
from server.storage.session import Database
from server.web.dependencies import DatabaseOfApp, FragmentsOfApp, SettingsOfApp, public
from server.web.fragments import answer_poll
from server.web.pages import NoSlotPage, SlotPage
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter()


@router.get("/slot/{token}")
@public
def show_slot(request: Request, token: str, database: DatabaseOfApp, settings: SettingsOfApp) -> Response:
    try:
        shown = _slot(database, token)
    except NotFoundError:
        return render(request, NoSlotPage(), 404)
    return render(request, SlotPage(slot=shown, heartbeat_ms=round(settings.heartbeat_s * 1000)))


@router.get("/slot/{token}/stream")
@public
async def stream_slot(
    request: Request, token: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        return fragments.state(_slot(database, token))

    try:
        watched = await run_in_threadpool(_slot, database, token)
        return await open_stream(request, live.slot_topic(watched.field_day_id, token), current)
    except NotFoundError:
        return _gone()


@router.get("/slot/{token}/state")
@public
def poll_slot(request: Request, token: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    try:
        return answer_poll(request, fragments.state(_slot(database, token)))
    except NotFoundError:
        return _gone()


def _slot(database: Database, token: str) -> MySlot:
    with database.read() as session:
        return slots.slot_by_token(session, token)


def _gone() -> Response:
    """Tells an open page that its link was replaced. It says so in words of its own, so that another server that
    happens to answer at this address on another network cannot wipe a pilot's page."""
    return JSONResponse({"gone": True}, 410, headers={"Cache-Control": "no-store"})
