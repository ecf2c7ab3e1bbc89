from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, ClassVar
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from server.services import day_imports, days, live
from server.services.day_fields import time_zones, zone_of_this_machine
from server.services.errors import InputError
from server.services.roles import HELPER, ORGANIZER
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    Now,
    WhoAsks,
    needs,
)
from server.web.live_mark import LiveMark, live_mark_by_name
from server.web.templating import Page, render

router = APIRouter()


@dataclass(frozen=True)
class DaysPage(Page):
    """Every field day of the club, and the fields of a new one with what stands in them.

    current  the day on the board, which EVERYBODY LAND is for
    """

    template: ClassVar[str] = "days/page.html"
    days: Sequence[FieldDay]
    current: FieldDay | None
    live: LiveMark | None
    form: Mapping[str, str]
    time_zones: Sequence[str]
    errors: Mapping[str, str] = field(default_factory=dict)
    brought: str = ""
    """What came of bringing a day in from a file, or in `not_brought` why it was refused."""
    not_brought: str = ""


@router.get("/days")
@needs(HELPER)
def show_days(
    request: Request, database: DatabaseOfApp, now: Now, who: WhoAsks, brought: str = ""
) -> Response:
    """`brought` is the code of a day that was just brought in."""
    return render(request, days_page(database, who, now, brought=brought))


@router.post("/days")
@needs(ORGANIZER)
def create_day(
    request: Request,
    database: DatabaseOfApp,
    now: Now,
    who: WhoAsks,
    name: Annotated[str, Form()] = "",
    date: Annotated[str, Form()] = "",
    time_zone: Annotated[str, Form()] = "",
    code: Annotated[str, Form()] = "",
) -> Response:
    typed = {"name": name, "date": date, "time_zone": time_zone, "code": code}
    try:
        with database.write() as session:
            day = days.create_day(session, who.club_id, typed, now)
    except InputError as error:
        return render(request, days_page(database, who, now, typed, error.faults), 422)
    return RedirectResponse(f"/days/{day.code}/site", 303)


@router.get("/days/{code}")
@needs(HELPER)
def open_day(code: str, database: DatabaseOfApp) -> Response:
    with database.read() as session:
        day = days.day_with(session, code)
    return RedirectResponse(f"/days/{day.code}/check-in", 303)


@router.post("/days/{code}/archive")
@needs(ORGANIZER)
def archive_day(code: str, database: DatabaseOfApp, hub: HubOfApp, now: Now) -> Response:
    with database.write() as session:
        day = days.archive(session, code, now)
    live.announce(database, hub, day.id or 0)
    return RedirectResponse("/days", 303)


@router.post("/days/{code}/bring-back")
@needs(ORGANIZER)
def bring_day_back(code: str, database: DatabaseOfApp, hub: HubOfApp, now: Now) -> Response:
    with database.write() as session:
        day = days.bring_back(session, code, now)
    live.announce(database, hub, day.id or 0)
    return RedirectResponse("/days", 303)


def _usual_fields(now: datetime) -> dict[str, str]:
    """Today where this machine stands."""
    zone = zone_of_this_machine()
    return {"name": "", "date": now.astimezone(ZoneInfo(zone)).date().isoformat(), "time_zone": zone}


def days_page(
    database: Database,
    who: WhoAsks,
    now: datetime,
    form: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    brought: str = "",
    not_brought: str = "",
) -> DaysPage:
    with database.read() as session:
        current = days.current_day(session, who.club_id, now)
        listed = days.all_days(session, who.club_id)
        mark = live_mark_by_name(session, current) if current else None
        told = day_imports.words_of(session, who.club_id, brought) if brought else ""
    return DaysPage(
        listed,
        current,
        mark,
        form or _usual_fields(now),
        time_zones(),
        errors or {},
        told,
        not_brought,
    )
