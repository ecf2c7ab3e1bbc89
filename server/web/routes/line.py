"""The flight line: call a heat, see it through, answer the pits.

Each press is one transaction and goes back to the page; what was refused stands on it, with everything typed.
"""

import re
from collections.abc import Callable, Mapping

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from server.services import (
    call_settling,
    call_slots,
    calls,
    clearances,
    flight_line,
    flown_heats,
    live,
    pilots,
)
from server.services.access import DIRECTOR
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.line_desk import line_desk
from server.services.live import Hub
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.dependencies import DatabaseOfApp, FragmentsOfApp, HubOfApp, Now, RowNumber, SettingsOfApp
from server.web.form_text import FormText, whole_number
from server.web.fragments import answer_poll
from server.web.live_mark import live_mark
from server.web.pages import LinePage
from server.web.stream import State, open_stream
from server.web.templating import render

router = APIRouter(prefix="/days/{code}/line")

TAB = "line"

_PILOT = re.compile(r"pilot_\d{1,9}", re.ASCII)

Act = Callable[[Session, FieldDay], None]


@router.get("")
def show_line(
    request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp, now: Now
) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        page = LinePage(
            day=day,
            tab=TAB,
            live=live_mark(session, day),
            desk=line_desk(session, day, now),
            heartbeat_ms=round(settings.heartbeat_s * 1000),
        )
    return render(request, page)


@router.get("/stream")
async def stream_line(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp, now: Now
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(line_desk(session, day_with(session, code), now))

    return await open_stream(request, live.line_topic(code), current)


@router.get("/state")
def poll_line(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp, now: Now
) -> Response:
    with database.read() as session:
        desk = line_desk(session, day_with(session, code), now)
    return answer_poll(request, fragments.state(desk))


@router.get("/everybody-land")
def tell_everybody_land(code: str, database: DatabaseOfApp) -> Response:
    """What every page of the director asks for now and then: whether EVERYBODY LAND is on, and why."""
    with database.read() as session:
        line = flight_line.line_of(session, day_with(session, code))
    is_on = line.everybody_land_at is not None
    return JSONResponse(
        {"on": is_on, "reason": line.everybody_land_reason if is_on else ""},
        headers={"Cache-Control": "no-store"},
    )


@router.post("/everybody-land")
def everybody_land(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flight_line.everybody_land(session, day, form.get("reason", ""), DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/lift")
def lift(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flight_line.lift(session, day, DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/walkers")
def set_walkers(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flight_line.set_walkers(session, day, form.get("state") == "there", DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/hours")
def save_hours(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flight_line.save_hours(session, day, form, DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/call")
def call_heat(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    """`heats` numbers apart by spaces; `pilot_7` for each pilot, by id, where not everybody is called."""

    def act(session: Session, day: FieldDay) -> None:
        only = {int(name[6:]) for name in form if _PILOT.fullmatch(name)}
        heats = _numbers(
            form.get("heats", ""), "heats", "Write numbers of heats, as 4, or 4 5 for both together."
        )
        calls.call(
            session,
            day,
            heats,
            form.get("seen", ""),
            DIRECTOR,
            now,
            only=only or None,
            override=form.get("override", ""),
        )

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/step/{name}")
def step(
    request: Request,
    code: str,
    name: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        calls.act(
            session,
            day,
            name.replace("-", " "),
            form.get("seen", ""),
            DIRECTOR,
            now,
            reason=form.get("reason", ""),
            counts=form.get("counts") != "no",
        )

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/counts")
def set_counts(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        calls.set_counts(session, day, form.get("counts") == "yes", form.get("seen", ""), DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/undo")
def undo(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        call_slots.undo(session, day, form.get("seen", ""), DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/next-heat")
def say_next_heat(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flown_heats.next_heat(session, day, whole_number(form, "next_heat"), now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/slots/{slot_id}/{name}")
def act_on_slot(
    request: Request,
    code: str,
    slot_id: RowNumber,
    name: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        event = name.replace("-", " ")
        call_slots.act(session, day, slot_id, form.get("seen", ""), event, DIRECTOR, now)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/clearances")
def ask_for_clearance(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        pilot = pilots.pilot_of(session, day, whole_number(form, "pilot"))
        place = form.get("place", "")
        clearances.ask(session, day, pilot, form.get("why", ""), DIRECTOR, now, place=place)

    return _do(request, code, database, settings, hub, now, form, act)


@router.post("/clearances/{clearance_id}/{name}")
def act_on_clearance(
    request: Request,
    code: str,
    clearance_id: RowNumber,
    name: str,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        seen = form.get("seen", "")
        clearances.act_of_director(
            session, day, clearance_id, seen, name, form.get("words", ""), DIRECTOR, now
        )

    return _do(request, code, database, settings, hub, now, form, act)


def _numbers(text: str, name: str, fault: str) -> list[int]:
    parts = text.replace(",", " ").split()
    if not all(part.isascii() and part.isdigit() and len(part) < 10 for part in parts):
        raise InputError({name: fault})
    return [int(part) for part in parts]


def _do(
    request: Request,
    code: str,
    database: Database,
    settings: Settings,
    hub: Hub,
    now: Now,
    form: Mapping[str, str],
    act: Act,
) -> Response:
    """Do it and what follows in one transaction, tell everybody, and go back to the page."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            act(session, day)
            call_settling.settle(session, day, now)
    except (InputError, RefusedError, OvertakenError) as error:
        return render(request, _refused(database, settings, code, now, form, error), _status(error))
    assert day.id is not None
    live.announce(database, hub, day.id)
    return RedirectResponse(f"/days/{day.code}/line", 303)


def _status(error: Exception) -> int:
    return 409 if isinstance(error, OvertakenError) else 422


def _refused(
    database: Database,
    settings: Settings,
    code: str,
    now: Now,
    form: Mapping[str, str],
    error: InputError | RefusedError | OvertakenError,
) -> LinePage:
    with database.read() as session:
        day = day_with(session, code)
        return LinePage(
            day=day,
            tab=TAB,
            live=live_mark(session, day),
            desk=line_desk(session, day, now),
            heartbeat_ms=round(settings.heartbeat_s * 1000),
            notice=str(error),
            faults=error.faults if isinstance(error, InputError) else {},
            form=form,
        )
