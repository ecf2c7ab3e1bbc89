"""What is stored and why; a pilot's own data as a file, and names taken out of a day."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import erasing, pilot_files
from server.services.backups import BackupKeeper
from server.services.days import day_with
from server.services.erasing import NamesOfDay
from server.services.errors import InputError, RefusedError
from server.services.roles import ORGANIZER
from server.storage.session import Database, DatabaseFailsError
from server.storage.tables import FieldDay
from server.web.day_to_land import day_to_land
from server.web.dependencies import BackupsOfApp, DatabaseOfApp, RowNumber, needs, public
from server.web.form_text import FormText
from server.web.live_mark import LiveMark, live_mark
from server.web.presses import Press, PressOfApp
from server.web.templating import Page, render
from server.web.way_back import way_back
from server.wording import gettext as _
from server.wording import marked

router = APIRouter()

ONE, ALL = "one", "all"
DONE = {
    ONE: marked("The name was taken out of this day: a number stands in its place."),
    ALL: marked("All names were taken out of this day, and it is archived."),
}
"""What the page says after a press, by what was taken out."""


@dataclass(frozen=True)
class PrivacyPage(Page):
    """`back` leads to the page that led here; `current` is the day that EVERYBODY LAND is for."""

    template: ClassVar[str] = "privacy/page.html"
    back: str
    current: FieldDay | None


@dataclass(frozen=True)
class NamesPage(Page):
    """The pilots of a day, to hand out or to take out what is stored of them.

    copies  backups of the data file that were made before names were taken out
    done    what was just done
    """

    template: ClassVar[str] = "privacy/day.html"
    day: FieldDay
    tab: str
    live: LiveMark
    names: NamesOfDay
    copies: Sequence[str]
    fault: str = ""
    done: str = ""


@router.get("/privacy")
@public
def show_privacy(request: Request) -> Response:
    return render(request, PrivacyPage(way_back(request, also="/guide"), day_to_land(request)))


@router.get("/days/{code}/names")
@needs(ORGANIZER)
def show_names(
    request: Request, code: str, database: DatabaseOfApp, backups: BackupsOfApp, out: str = ""
) -> Response:
    return render(request, _page(database, backups, code, done=_(DONE.get(out, ""))))


@router.get("/days/{code}/names/{pilot_id}/export")
@needs(ORGANIZER)
def export_pilot(code: str, pilot_id: RowNumber, database: DatabaseOfApp) -> Response:
    with database.read() as session:
        content = pilot_files.export_pilot(session, code, pilot_id)
    headers = {
        "Content-Disposition": f'attachment; filename="{code}-pilot-{pilot_id}.json"',
        "Cache-Control": "no-store",
    }
    return Response(content, media_type="application/json", headers=headers)


@router.post("/days/{code}/names/{pilot_id}/erase")
@needs(ORGANIZER)
def erase_pilot(press: PressOfApp, code: str, pilot_id: RowNumber, backups: BackupsOfApp) -> Response:
    return _take_out(
        press, code, backups, lambda session: erasing.erase(session, code, pilot_id, press.now), ONE
    )


@router.post("/days/{code}/names/archive")
@needs(ORGANIZER)
def archive_without_names(press: PressOfApp, code: str, backups: BackupsOfApp) -> Response:
    return _take_out(
        press, code, backups, lambda session: erasing.archive_without_names(session, code, press.now), ALL
    )


@router.post("/days/{code}/names/copies")
@needs(ORGANIZER)
def remove_copies(
    request: Request, code: str, database: DatabaseOfApp, backups: BackupsOfApp, form: FormText
) -> Response:
    """Remove every copy of the data file that still holds the names, then make a new one."""
    try:
        _check_sure(form)
        backups.remove_copies()
    except InputError as error:
        return render(request, _page(database, backups, code, str(error)), 422)
    return RedirectResponse(f"/days/{code}/names", 303)


def _take_out(
    press: Press, code: str, backups: BackupKeeper, take_out: Callable[[Session], object], out: str
) -> Response:
    """Take names out, tell everybody, and write the data file anew, so that they are in none of its bytes."""
    database = press.database
    try:
        _check_sure(press.form)
        with database.write() as session:
            take_out(session)
            day = day_with(session, code)
    except (InputError, RefusedError) as error:
        return render(press.request, _page(database, backups, code, str(error)), 422)
    press.announce(day)
    try:
        database.forget()
    except DatabaseFailsError as error:
        fault = _(
            "Names were taken out, but the data file could not be written anew (%(reason)s), so its bytes may "
            "still hold them. Mend that, then press once more.",
            reason=error,
        )
        return render(press.request, _page(database, backups, code, fault), 503)
    return RedirectResponse(f"/days/{code}/names?out={out}", 303)


def _check_sure(form: FormText) -> None:
    if not form.get("sure"):
        raise InputError(
            {"sure": _("Nothing was changed: tick that you are sure, since this cannot be undone.")}
        )


def _page(database: Database, backups: BackupKeeper, code: str, fault: str = "", done: str = "") -> NamesPage:
    with database.read() as session:
        day = day_with(session, code)
        names = erasing.names_of(session, day)
        mark = live_mark(session, day)
    return NamesPage(day, "logbook", mark, names, backups.copies_before(names.last_erased_at), fault, done)
