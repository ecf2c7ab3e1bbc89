"""The flight line: call a heat, see it through, answer the pits.

Each press is one transaction and goes back to the page; what was refused stands on it, with everything typed.
"""

import re
from collections.abc import Callable, Mapping
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session

from server.services import (
    call_slots,
    calls,
    clearances,
    day_settling,
    flight_line,
    flown_heats,
    live,
    pilots,
    saved_choices,
)
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.line_desk import line_desk
from server.services.roles import DIRECTOR, HELPER, acting
from server.services.stale_forms import StaleFormError, check_fresh
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.both_versions import both_versions
from server.web.dependencies import (
    DatabaseOfApp,
    FragmentsOfApp,
    Now,
    RowNumber,
    SettingsOfApp,
    WhoAsks,
    needs,
)
from server.web.form_text import overtakable, whole_number
from server.web.fragments import answer_poll
from server.web.live_mark import live_mark
from server.web.pages import LineClock, LinePage, LineTimeline
from server.web.presses import Press, PressOfApp, status_of
from server.web.stream import State, open_stream
from server.web.templating import render
from server.wording import gettext as _

router = APIRouter(prefix="/days/{code}/line")

TAB = "line"

_PILOT = re.compile(r"pilot_\d{1,9}", re.ASCII)

Act = Callable[[Session, FieldDay], None]


@router.get("")
@needs(DIRECTOR)
def show_line(
    request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp, now: Now
) -> Response:
    return render(request, _page(database, settings, code, now))


@router.get("/stream")
@needs(DIRECTOR)
async def stream_line(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp, now: Now
) -> Response:
    def current() -> State:
        with database.read() as session:
            return fragments.state(line_desk(session, day_with(session, code), now))

    return await open_stream(request, live.line_topic(code), current)


@router.get("/state")
@needs(DIRECTOR)
def poll_line(
    request: Request, code: str, database: DatabaseOfApp, fragments: FragmentsOfApp, now: Now
) -> Response:
    with database.read() as session:
        desk = line_desk(session, day_with(session, code), now)
    return answer_poll(request, fragments.state(desk))


@router.get("/clock")
@needs(DIRECTOR)
def show_clock(request: Request, code: str, database: DatabaseOfApp, now: Now) -> Response:
    """The hours of the day anew: time passes without anything happening at the line."""
    with database.read() as session:
        desk = line_desk(session, day_with(session, code), now)
    return render(request, LineClock(desk)) if desk.clock else Response(status_code=204)


@router.get("/timeline")
@needs(DIRECTOR)
def show_timeline(request: Request, code: str, database: DatabaseOfApp, now: Now) -> Response:
    """The day along its hours anew, as `show_clock`."""
    with database.read() as session:
        desk = line_desk(session, day_with(session, code), now)
    return render(request, LineTimeline(desk))


@router.get("/everybody-land")
@needs(HELPER)
def tell_everybody_land(code: str, database: DatabaseOfApp) -> Response:
    """What every page of the director asks for now and then: whether EVERYBODY LAND is on, and why."""
    with database.read() as session:
        line = flight_line.line_of(session, day_with(session, code))
    is_on = line.everybody_land_at is not None
    reason = line.everybody_land_reason if is_on else ""
    return JSONResponse(
        {"on": is_on, "reason": reason, "since": flight_line.land_mark(line)},
        headers={"Cache-Control": "no-store"},
    )


@router.post("/everybody-land")
@needs(HELPER)
def everybody_land(press: PressOfApp, code: str, who: WhoAsks) -> Response:
    """By anybody who is signed in. The flight line itself is the director's: a helper stays at the desk."""

    def act(session: Session, day: FieldDay) -> None:
        flight_line.everybody_land(session, day, press.form.get("reason", ""), acting(session), press.now)

    back = "line" if who.may(DIRECTOR) else "check-in"
    return _do(press, code, act, back)


@router.post("/lift")
@needs(DIRECTOR)
def lift(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        saved = saved_choices.everybody_land(session, day)
        check_fresh(overtakable(press.form, since=saved_choices.LIFTED), saved)
        flight_line.lift(session, day, acting(session), press.now)

    return _do(press, code, act)


@router.post("/walkers")
@needs(DIRECTOR)
def set_walkers(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        flight_line.set_walkers(session, day, press.form.get("state") == "there", acting(session), press.now)

    return _do(press, code, act)


@router.post("/hours")
@needs(DIRECTOR)
def save_hours(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        check_fresh(overtakable(press.form), saved_choices.hours(session, day))
        flight_line.save_hours(session, day, press.form, acting(session), press.now)

    return _do(press, code, act)


@router.post("/call")
@needs(DIRECTOR)
def call_heat(press: PressOfApp, code: str) -> Response:
    """`heats` numbers apart by spaces; `pilot_7` for each pilot, by id, where not everybody is called."""

    def act(session: Session, day: FieldDay) -> None:
        only = {int(name[6:]) for name in press.form if _PILOT.fullmatch(name)}
        heats = _numbers(
            press.form.get("heats", ""), "heats", _("Write numbers of heats, as 4, or 4 5 for both together.")
        )
        calls.call(
            session,
            day,
            heats,
            press.seen,
            acting(session),
            press.now,
            only=only or None,
            override=press.form.get("override", ""),
        )

    return _do(press, code, act)


@router.post("/step/{name}")
@needs(DIRECTOR)
def step(press: PressOfApp, code: str, name: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        calls.act(
            session,
            day,
            name.replace("-", " "),
            press.seen,
            acting(session),
            press.now,
            reason=press.form.get("reason", ""),
            counts=press.form.get("counts") != "no",
        )

    return _do(press, code, act)


@router.post("/counts")
@needs(DIRECTOR)
def set_counts(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        calls.set_counts(
            session, day, press.form.get("counts") == "yes", press.seen, acting(session), press.now
        )

    return _do(press, code, act)


@router.post("/undo")
@needs(DIRECTOR)
def undo(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        call_slots.undo(session, day, press.seen, acting(session), press.now)

    return _do(press, code, act)


@router.post("/next-heat")
@needs(DIRECTOR)
def say_next_heat(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        check_fresh(overtakable(press.form), saved_choices.next_heat(session, day))
        flown_heats.next_heat(session, day, whole_number(press.form, "next_heat"), press.now)

    return _do(press, code, act)


@router.post("/slots/{slot_id}/{name}")
@needs(DIRECTOR)
def act_on_slot(press: PressOfApp, code: str, slot_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        event = name.replace("-", " ")
        words = press.form.get("words", "")
        call_slots.act(session, day, slot_id, press.seen, event, acting(session), press.now, words=words)

    return _do(press, code, act)


@router.post("/clearances")
@needs(DIRECTOR)
def ask_for_clearance(press: PressOfApp, code: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        pilot = pilots.pilot_of(session, day, whole_number(press.form, "pilot"))
        place = press.form.get("place", "")
        clearances.ask(
            session, day, pilot, press.form.get("why", ""), acting(session), press.now, place=place
        )

    return _do(press, code, act)


@router.post("/unasked")
@needs(DIRECTOR)
def found_on_unasked(press: PressOfApp, code: str) -> Response:
    """Somebody who is not called is found to be transmitting."""

    def act(session: Session, day: FieldDay) -> None:
        pilot = pilots.pilot_of(session, day, whole_number(press.form, "pilot"))
        call_slots.found_on(session, day, pilot, press.form.get("place", ""), acting(session), press.now)

    return _do(press, code, act)


@router.post("/clearances/{clearance_id}/{name}")
@needs(DIRECTOR)
def act_on_clearance(press: PressOfApp, code: str, clearance_id: RowNumber, name: str) -> Response:
    def act(session: Session, day: FieldDay) -> None:
        seen = press.seen
        clearances.act_of_director(
            session, day, clearance_id, seen, name, press.form.get("words", ""), acting(session), press.now
        )

    return _do(press, code, act)


def _numbers(text: str, name: str, fault: str) -> list[int]:
    parts = text.replace(",", " ").split()
    if not all(part.isascii() and part.isdigit() and len(part) < 10 for part in parts):
        raise InputError({name: fault})
    return [int(part) for part in parts]


def _do(press: Press, code: str, act: Act, back: str = "line") -> Response:
    """Do it and what follows in one transaction, tell everybody, and go back to the page."""
    try:
        with press.database.write() as session:
            day = day_with(session, code)
            act(session, day)
            day_settling.settle(session, day, press.now)
    except StaleFormError as error:
        return both_versions(press.request, error, press.form, f"/days/{code}/line")
    except (InputError, RefusedError, OvertakenError) as error:
        faults = error.faults if isinstance(error, InputError) else {}
        page = _page(press.database, press.settings, code, press.now, str(error), faults, press)
        return render(press.request, page, status_of(error))
    press.announce(day)
    return RedirectResponse(f"/days/{day.code}/{back}", 303)


def _page(
    database: Database,
    settings: Settings,
    code: str,
    now: datetime,
    notice: str = "",
    faults: Mapping[str, str] | None = None,
    press: Press | None = None,
) -> LinePage:
    with database.read() as session:
        day = day_with(session, code)
        return LinePage(
            day=day,
            tab=TAB,
            live=live_mark(session, day),
            desk=line_desk(session, day, now),
            heartbeat_ms=round(settings.heartbeat_s * 1000),
            notice=notice,
            faults=faults or {},
            form=press.form if press else {},
            again=press.again if press else "",
        )
