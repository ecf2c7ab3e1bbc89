"""The desk: add a pilot in one line or by fields, see the roster."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import desk, pilots
from server.services.days import day_with
from server.services.errors import InputError, NotFoundError, RefusedError
from server.services.roles import HELPER, acting
from server.services.roster_table import MARK_LENGTH, RosterRow, roster_row, roster_table
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.check_in_pages import (
    CheckInPage,
    Desk,
    DeskFragment,
    EchoFragment,
    NewsFragment,
    RosterFragment,
)
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    Now,
    RowNumber,
    needs,
)
from server.web.form_text import FormText
from server.web.live_mark import live_mark
from server.web.phone_addresses import phone_address
from server.web.roster_news import announce_roster
from server.web.templating import is_fragment, render
from server.wording import gettext as _
from server.wording import ngettext

router = APIRouter(prefix="/days/{code}")

TAB = "check-in"
BY_FIELDS = "fields"

Search = Annotated[str, Query(alias="q", max_length=100)]
Only = Annotated[str, Query(max_length=40)]


@router.get("/check-in")
@needs(HELPER)
def show_check_in(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    added: RowNumber | None = None,
    line: str = "",
    by: str = "",
    brought: int = 0,
    left: int = 0,
    q: Search = "",
    only: Only = "",
) -> Response:
    notice = _brought_words(brought, left) if brought else ""
    with database.read() as session:
        day = day_with(session, code)
        typed = desk.read_into_fields(session, day, line) if line and by == BY_FIELDS else {}
        shown = Desk(by_fields=by == BY_FIELDS, typed=typed, answer=_answer(session, day, added))
        if is_fragment(request):
            return render(request, DeskFragment(day=day, desk=shown))
        return render(request, _page(request, session, day, shown, q, only, notice))


@router.post("/pilots")
@needs(HELPER)
def add_pilot(
    request: Request, code: str, database: DatabaseOfApp, hub: HubOfApp, now: Now, form: FormText
) -> Response:
    by_fields = form.get("by") == BY_FIELDS
    try:
        with database.write() as session:
            day = day_with(session, code)
            if by_fields:
                pilot = pilots.add(session, day, form, acting(session), now)
            else:
                pilot = desk.add_line(session, day, form.get("line", ""), acting(session), now)
    except InputError as error:
        faults = {} if by_fields else error.faults
        errors = error.faults if by_fields else {}
        shown = Desk(form.get("line", ""), tuple(faults.values()), by_fields, form, errors)
        return _not_added(request, code, database, shown)
    except RefusedError as error:
        shown = Desk(form.get("line", ""), (str(error),), by_fields, form)
        return _not_added(request, code, database, shown)
    announce_roster(database, hub, day)
    if not is_fragment(request):
        by = f"&by={BY_FIELDS}" if by_fields else ""
        return RedirectResponse(f"/days/{day.code}/check-in?added={pilot.id}{by}", 303)
    q, only = form.get("q", ""), form.get("only", "")
    with database.read() as session:
        pilot = pilots.pilot_of(session, day, pilot.id or 0)
        shown = Desk(by_fields=by_fields, answer=roster_row(session, day, pilot))
        table = roster_table(session, day, q, only, pilot)
    return render(
        request, DeskFragment(day=day, desk=shown, roster=table, search=q, only=only, acted=pilot.id)
    )


@router.get("/check-in/echo")
@needs(HELPER)
def show_echo(request: Request, code: str, database: DatabaseOfApp, line: str = "") -> Response:
    with database.read() as session:
        day = day_with(session, code)
        echo = desk.understand(session, day, line) if line.strip() else None
    return render(request, EchoFragment(echo=echo, day=day))


@router.get("/check-in/roster")
@needs(HELPER)
def show_roster(
    request: Request, code: str, database: DatabaseOfApp, q: Search = "", only: Only = ""
) -> Response:
    return render(request, roster_fragment(database, code, {"q": q, "only": only}))


@router.get("/check-in/news")
@needs(HELPER)
def show_news(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    since: int,
    mark: Annotated[str, Query(max_length=MARK_LENGTH)],
    q: Search = "",
    only: Only = "",
) -> Response:
    """Says that the roster changed elsewhere, so that no row moves under a hand that is about to press.

    since, mark  of the table that the page shows; other news of the day does not move its rows
    """
    with database.read() as session:
        day = day_with(session, code)
        assert day.id is not None
        if database.order(session, day.id) <= since or roster_table(session, day).mark == mark:
            return Response(status_code=204)
    return render(request, NewsFragment(day=day, search=q, only=only))


def roster_fragment(
    database: Database,
    code: str,
    filters: Mapping[str, str],
    acted: int | None = None,
    has_answer: bool = False,
) -> RosterFragment:
    """The roster under the filters that the page has set; with `has_answer` the channel to say to who acted."""
    q, only = filters.get("q", ""), filters.get("only", "")
    with database.read() as session:
        day = day_with(session, code)
        kept = pilots.pilot_of(session, day, acted) if acted else None
        table = roster_table(session, day, q, only, kept)
        answer = roster_row(session, day, kept) if kept and has_answer else None
    return RosterFragment(
        day=day, roster=table, search=q, only=only, acted=acted, answers=acted is not None, answer=answer
    )


def _not_added(request: Request, code: str, database: DatabaseOfApp, shown: Desk) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        if is_fragment(request):
            return render(request, DeskFragment(day=day, desk=shown), 422)
        return render(request, _page(request, session, day, shown), 422)


def _page(
    request: Request,
    session: Session,
    day: FieldDay,
    shown: Desk,
    search: str = "",
    only: str = "",
    notice: str = "",
) -> CheckInPage:
    return CheckInPage(
        day=day,
        tab=TAB,
        live=live_mark(session, day),
        desk=shown,
        roster=roster_table(session, day, search, only),
        search=search,
        only=only,
        notice=notice,
        acted=shown.answer.pilot.id if shown.answer else None,
        join=phone_address(request, day, f"/join/{day.code}"),
    )


def _answer(session: Session, day: FieldDay, pilot_id: int | None) -> RosterRow | None:
    """The row of who was just added; nobody once the addition was undone."""
    if pilot_id is None:
        return None
    try:
        row = roster_row(session, day, pilots.pilot_of(session, day, pilot_id))
    except NotFoundError:
        return None
    return row if row.is_here else None


def _brought_words(brought: int, left: int) -> str:
    pilots = ngettext("%(number)s pilot", "%(number)s pilots", brought)
    words = _("Brought in %(pilots)s.", pilots=pilots)
    if left:
        words = _("Brought in %(pilots)s, left %(number)s out.", pilots=pilots, number=left)
    return f"{words} {_('Press Give a channel in the row of each who comes to the desk.')}"
