"""Bring in a list of pilots: choose it, look at it, add the good rows."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session
from starlette.datastructures import UploadFile

from server.services import imports
from server.services.csv_files import decode
from server.services.days import day_with
from server.services.errors import RefusedError
from server.services.faults import Fault, FaultyInputError, shown
from server.services.imports import PASTED, Look, Wish
from server.services.pilots import check_open
from server.services.roles import HELPER, acting
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.check_in_pages import ImportPage
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    Now,
    needs,
)
from server.web.form_text import LARGEST_FIELD_BYTES
from server.web.live_mark import live_mark
from server.web.roster_news import announce_roster
from server.web.routes.check_in import TAB
from server.web.templating import render
from server.wording import marked

router = APIRouter(prefix="/days/{code}/import")

LONGEST_FILE_NAME = 100
CHANGED = marked(
    "The roster, the list or the columns changed since you looked. This is how it stands now: look once more."
)


@dataclass(frozen=True)
class ImportForm:
    """Text by field, and the bytes of a file where one was chosen."""

    text: Mapping[str, str]
    file: str = ""
    data: bytes = b""


async def _import_form(request: Request) -> ImportForm:
    async with request.form(max_part_size=LARGEST_FIELD_BYTES) as form:
        text = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("file")
        if isinstance(upload, UploadFile) and upload.filename:
            return ImportForm(text, shown(upload.filename[-LONGEST_FILE_NAME:]), await upload.read())
        return ImportForm(text)


@router.get("")
@needs(HELPER)
def show_import(request: Request, code: str, database: DatabaseOfApp) -> Response:
    with database.read() as session:
        return render(request, _page(session, day_with(session, code)))


@router.post("")
@needs(HELPER)
def bring_in(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    hub: HubOfApp,
    now: Now,
    form: Annotated[ImportForm, Depends(_import_form)],
) -> Response:
    """Looks; adds only what was looked at, and only when asked to."""
    try:
        wish = _wish(form)
        if form.text.get("act") != "add":
            return _look(request, code, database, wish)
        with database.write() as session:
            day = day_with(session, code)
            check_open(day)
            look = imports.look_at(session, day, wish)
            if look.seen != form.text.get("seen") or not look.good:
                raise _ChangedError
            added = imports.bring_in(session, day, look, acting(session), now)
    except _ChangedError:
        return _look(request, code, database, wish, CHANGED)
    except FaultyInputError as error:
        return _refuse(request, code, database, form, error.faults)
    except RefusedError as error:
        return _look(request, code, database, wish, str(error))
    announce_roster(database, hub, day)
    return RedirectResponse(f"/days/{day.code}/check-in?brought={len(added)}&left={len(look.bad)}", 303)


class _ChangedError(Exception):
    """What would be added is not what was looked at."""


def _wish(form: ImportForm) -> Wish:
    """Raises FaultyInputError for a file that is no text."""
    text = form.text
    if form.file:
        return Wish(decode(form.data, form.file), form.file)
    columns = [name for name in text if name.startswith("column-")]
    meaning = tuple(text[f"column-{at}"] for at in range(len(columns)) if f"column-{at}" in text)
    is_first_look = not text.get("seen")
    return Wish(
        text=text.get("text", ""),
        file=shown(text.get("file_name", "")[-LONGEST_FILE_NAME:]) or PASTED,
        meaning=None if is_first_look else meaning,
        has_header=None if is_first_look else "has_header" in text,
        takes_unknown=None if is_first_look else "takes_unknown" in text,
    )


def _look(request: Request, code: str, database: Database, wish: Wish, notice: str = "") -> Response:
    with database.read() as session:
        day = day_with(session, code)
        look = imports.look_at(session, day, wish)
        page = _page(session, day, text=wish.text, file=wish.file, look=look, notice=notice)
    return render(request, page, 409 if notice else 200)


def _refuse(
    request: Request, code: str, database: Database, form: ImportForm, faults: tuple[Fault, ...]
) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        page = _page(session, day, text=form.text.get("text", ""), file=form.file or PASTED, faults=faults)
    return render(request, page, 422)


def _page(
    session: Session,
    day: FieldDay,
    text: str = "",
    file: str = "",
    look: Look | None = None,
    faults: tuple[Fault, ...] = (),
    notice: str = "",
) -> ImportPage:
    live = live_mark(session, day)
    return ImportPage(day, TAB, live, text, file, look, faults, notice)
