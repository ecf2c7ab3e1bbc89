"""A pilot checks in by phone: a public page, its answer, and nothing else."""

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.services import joins
from server.services.days import day_with, typed_code
from server.services.errors import InputError, NotFoundError, RefusedError
from server.services.joins import JoinLimitError
from server.services.roster_table import roster_row
from server.storage.session import Database
from server.web.check_in_pages import JoinedPage, JoinPage
from server.web.dependencies import DatabaseOfApp, HubOfApp, Now, public
from server.web.form_text import FormText
from server.web.roster_news import announce_roster
from server.web.templating import render

router = APIRouter()


@router.get("/join/{code}")
@public
def show_join(request: Request, code: str, database: DatabaseOfApp, me: str = "") -> Response:
    if not me:
        return _form(request, database, code, {"join_id": joins.new_join_id()})
    with database.read() as session:
        day = day_with(session, typed_code(code))
        try:
            row = roster_row(session, day, joins.joined(session, day, me))
        except NotFoundError as error:
            return _form(request, database, code, {"join_id": joins.new_join_id()}, 404, notice=str(error))
        return render(request, JoinedPage(day=day, row=row, join_id=me))


@router.post("/join/{code}")
@public
def join(
    request: Request, code: str, database: DatabaseOfApp, hub: HubOfApp, now: Now, form: FormText
) -> Response:
    try:
        with database.write() as session:
            day = day_with(session, typed_code(code))
            pilot = joins.join(session, day, form.get("join_id", ""), form, now)
    except InputError as error:
        return _form(request, database, code, form, 422, errors=error.faults)
    except RefusedError as error:
        status = 429 if isinstance(error, JoinLimitError) else 422
        return _form(request, database, code, form, status, notice=str(error))
    announce_roster(database, hub, day)
    return RedirectResponse(f"/join/{day.code}?me={pilot.join_id}", 303)


def _form(
    request: Request,
    database: Database,
    code: str,
    typed: Mapping[str, str],
    status: int = 200,
    errors: Mapping[str, str] | None = None,
    notice: str = "",
) -> Response:
    with database.read() as session:
        day = day_with(session, typed_code(code))
    return render(request, JoinPage(day=day, typed=typed, errors=errors or {}, notice=notice), status)
