"""A pilot's own page, behind a private link."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool

from server.services import call_slots, clearances, day_settling, live, slots, trouble, turns
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.joins import PILOT
from server.services.slots import MySlot
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay, Pilot
from server.web.dependencies import (
    DatabaseOfApp,
    FragmentsOfApp,
    RowNumber,
    SettingsOfApp,
    public,
)
from server.web.fragments import answer_poll
from server.web.pages import NoSlotPage, SlotPage
from server.web.presses import Press, PressOfApp, status_of
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter()


@router.get("/slot/{token}")
@public
def show_slot(request: Request, token: str, database: DatabaseOfApp, settings: SettingsOfApp) -> Response:
    try:
        page = _page(database, settings, token)
    except NotFoundError:
        return render(request, NoSlotPage(), 404)
    return render(request, page)


@router.get("/slot/{token}/stream")
@public
async def stream_slot(
    request: Request, token: str, database: DatabaseOfApp, fragments: FragmentsOfApp
) -> Response:
    def current() -> State:
        return fragments.state(_slot(database, token))

    try:
        topic = await run_in_threadpool(_topic, database, token)
        return await open_stream(request, topic, current)
    except NotFoundError:
        return _gone()


@router.get("/slot/{token}/state")
@public
def poll_slot(request: Request, token: str, database: DatabaseOfApp, fragments: FragmentsOfApp) -> Response:
    try:
        return answer_poll(request, fragments.state(_slot(database, token)))
    except NotFoundError:
        return _gone()


@router.post("/slot/{token}/ask")
@public
def ask_to_fly(press: PressOfApp, token: str) -> Response:
    def ask(session: Session, day: FieldDay, pilot: Pilot) -> None:
        turns.ask(session, day, pilot, PILOT, press.now)

    return _do(press, token, ask)


@router.post("/slot/{token}/turns/{turn_id}/{name}")
@public
def act_on_turn(press: PressOfApp, token: str, turn_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        turns.act_of_pilot(session, day, pilot, turn_id, press.seen, name, press.now)

    return _do(press, token, act)


@router.post("/slot/{token}/call/{slot_id}/{name}")
@public
def act_in_call(press: PressOfApp, token: str, slot_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        event = name.replace("-", " ")
        call_slots.act_of_pilot(session, day, pilot, slot_id, press.seen, event, press.now)

    return _do(press, token, act)


@router.post("/slot/{token}/clearance")
@public
def ask_for_clearance(press: PressOfApp, token: str) -> Response:
    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        clearances.ask(session, day, pilot, press.form.get("why", ""), PILOT, press.now)

    return _do(press, token, act)


@router.post("/slot/{token}/clearances/{clearance_id}/{name}")
@public
def act_on_clearance(press: PressOfApp, token: str, clearance_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        clearances.act_of_pilot(session, day, pilot, clearance_id, press.seen, name, press.now)

    return _do(press, token, act)


@router.post("/slot/{token}/trouble")
@public
def report_trouble(press: PressOfApp, token: str) -> Response:
    """The pilot, or the spotter who holds the phone, says what is seen."""

    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        trouble.report(session, day, pilot, press.form, PILOT, press.now)

    return _do(press, token, act)


def _do(press: Press, token: str, act: Callable[[Session, FieldDay, Pilot], None]) -> Response:
    """Do it and what follows, tell everybody, and go back to the page; what was refused stands on top of it."""
    try:
        with press.database.write() as session:
            day, pilot = slots.pilot_by_token(session, token)
            act(session, day, pilot)
            day_settling.settle(session, day, press.now)
    except (InputError, RefusedError, OvertakenError) as error:
        page = _page(press.database, press.settings, token, str(error))
        return render(press.request, page, status_of(error))
    press.announce(day)
    return RedirectResponse(f"/slot/{token}", 303)


def _page(database: Database, settings: Settings, token: str, notice: str = "") -> SlotPage:
    return SlotPage(_slot(database, token), round(settings.heartbeat_s * 1000), notice)


def _slot(database: Database, token: str) -> MySlot:
    with database.read() as session:
        return slots.slot_by_token(session, token)


def _topic(database: Database, token: str) -> str:
    with database.read() as session:
        _, pilot = slots.pilot_by_token(session, token)
    return live.slot_topic(pilot.field_day_id, token)


def _gone() -> Response:
    """Tells an open page that its link was replaced. It says so in words of its own, so that another server that
    happens to answer at this address on another network cannot wipe a pilot's page."""
    return JSONResponse({"gone": True}, 410, headers={"Cache-Control": "no-store"})
