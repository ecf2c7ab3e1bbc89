"""The bench: who is still to be checked, one pilot's ticks and picture check, and leave to switch on for them."""

from collections.abc import Callable, Mapping

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import bench_checks, clearances, day_settling, picture_checks, pilots
from server.services.bench_views import bench, channel_named
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.roles import DIRECTOR, HELPER, acting
from server.storage.session import Database
from server.storage.tables import BENCH_CHECK, RETUNE, FieldDay, Pilot
from server.web.bench_pages import BenchFragment, BenchListPage, BenchPage
from server.web.dependencies import (
    DatabaseOfApp,
    RowNumber,
    needs,
    require,
)
from server.web.form_text import whole_number
from server.web.live_mark import live_mark
from server.web.presses import Press, PressOfApp, status_of
from server.web.routes.check_in import TAB
from server.web.templating import is_fragment, render

router = APIRouter(prefix="/days/{code}")

Act = Callable[[Session, FieldDay, Pilot], object]

CLEARANCES = {"retune": RETUNE}
OVERRIDE = "override"


@router.get("/bench")
@needs(HELPER)
def show_list(request: Request, code: str, database: DatabaseOfApp) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        rows = [(row, channel_named(row)) for row in bench_checks.rows(session, day)]
        page = BenchListPage(day, TAB, live_mark(session, day), rows, bench_checks.is_needed(day))
    return render(request, page)


@router.post("/bench")
@needs(DIRECTOR)
def demand(press: PressOfApp, code: str) -> Response:
    with press.database.write() as session:
        day = day_with(session, code)
        bench_checks.demand(session, day, press.form.get("needed") == "yes", acting(session), press.now)
    press.announce(day)
    return RedirectResponse(f"/days/{day.code}/bench", 303)


@router.get("/pilots/{pilot_id}/bench")
@needs(HELPER)
def show_bench(request: Request, code: str, pilot_id: RowNumber, database: DatabaseOfApp) -> Response:
    return _show(request, database, code, pilot_id)


@router.get("/pilots/{pilot_id}/bench/news")
@needs(HELPER)
def show_news(
    request: Request, code: str, pilot_id: RowNumber, database: DatabaseOfApp, seen: str
) -> Response:
    """The bench anew once it says otherwise about switching on: until then nothing unfolded or typed moves."""
    with database.read() as session:
        day = day_with(session, code)
        mark = bench(session, day, pilots.pilot_of(session, day, pilot_id)).leave_mark
    if mark == seen:
        return Response(status_code=204)
    return _show(request, database, code, pilot_id)


@router.post("/pilots/{pilot_id}/bench/ticks/{item}")
@needs(HELPER)
def tick(press: PressOfApp, code: str, pilot_id: RowNumber, item: str) -> Response:
    do = bench_checks.take_back if press.form.get("undo") else bench_checks.tick

    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        do(session, day, pilot, item, press.form.get("gear", ""), acting(session), press.now)

    return _do(press, code, pilot_id, act)


@router.post("/pilots/{pilot_id}/bench/picture")
@needs(HELPER)
def check_picture(press: PressOfApp, code: str, pilot_id: RowNumber) -> Response:
    """One step of the picture check, by the name of the button."""
    seen, step = press.seen, press.form.get("step", "")

    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        if step in (picture_checks.YES, picture_checks.NO):
            picture_checks.answer(session, day, pilot, step, seen, acting(session), press.now)
        elif step == "undo":
            picture_checks.take_back(session, day, pilot, seen, acting(session), press.now)
        elif step == "again":
            picture_checks.start_again(session, day, pilot, seen, acting(session), press.now)
        else:
            picture_checks.decide(session, day, pilot, step, seen, acting(session), press.now)

    return _do(press, code, pilot_id, act)


@router.post("/pilots/{pilot_id}/bench/readings")
@needs(HELPER)
def read(press: PressOfApp, code: str, pilot_id: RowNumber) -> Response:
    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        picture_checks.read(session, day, pilot, press.form, press.seen, acting(session), press.now)

    return _do(press, code, pilot_id, act)


@router.post("/pilots/{pilot_id}/bench/clearance")
@needs(HELPER)
def clear(press: PressOfApp, code: str, pilot_id: RowNumber) -> Response:
    """Ask to switch on, say that it is on or off, or clear it by the director's word."""
    step, seen, number = press.form.get("step", ""), press.seen, whole_number(press.form, "clearance")
    if step == OVERRIDE:
        require(press.request, DIRECTOR)

    def act(session: Session, day: FieldDay, pilot: Pilot) -> None:
        if step == "on":
            clearances.is_on(session, day, number, seen, acting(session), press.now)
        elif step == "off":
            clearances.is_off(session, day, number, seen, acting(session), press.now)
        elif step == OVERRIDE:
            clearances.override(
                session, day, number, seen, press.form.get("words", ""), acting(session), press.now
            )
        else:
            why = CLEARANCES.get(step, BENCH_CHECK)
            clearances.ask(session, day, pilot, why, acting(session), press.now)

    return _do(press, code, pilot_id, act)


def _do(press: Press, code: str, pilot_id: int, act: Act) -> Response:
    """Do it in one transaction and tell everybody; what was refused stands on the page, with what was typed."""
    request, database, form = press.request, press.database, press.form
    try:
        with database.write() as session:
            day = day_with(session, code)
            act(session, day, pilots.pilot_of(session, day, pilot_id))
            day_settling.settle(session, day, press.now)
    except InputError as error:
        return _show(request, database, code, pilot_id, status_of(error), typed=form, errors=error.faults)
    except (RefusedError, OvertakenError) as error:
        return _show(request, database, code, pilot_id, status_of(error), notice=str(error), typed=form)
    press.announce(day)
    if is_fragment(request):
        return _show(request, database, code, pilot_id)
    return RedirectResponse(f"/days/{day.code}/pilots/{pilot_id}/bench", 303)


def _show(
    request: Request,
    database: Database,
    code: str,
    pilot_id: int,
    status: int = 200,
    notice: str = "",
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:
    typed, errors = typed or {}, errors or {}
    with database.read() as session:
        day = day_with(session, code)
        shown = bench(session, day, pilots.pilot_of(session, day, pilot_id))
        if is_fragment(request):
            return render(request, BenchFragment(day, shown, notice, typed, errors), status)
        page = BenchPage(day, TAB, live_mark(session, day), shown, notice, typed, errors)
    return render(request, page, status)
