"""A day as one file: saved here, brought in there."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import UploadFile

from server.services import day_files, day_imports
from server.services.day_files import FaultyDayFileError
from server.services.days import day_with
from server.services.exports import day_slug
from server.services.faults import shown
from server.services.roles import ORGANIZER
from server.web.dependencies import DatabaseOfApp, Now, WhoAsks, needs
from server.web.routes.days import days_page
from server.web.security import DAY_IMPORT
from server.web.templating import render
from server.wording import gettext as _

router = APIRouter()


@router.get("/days/{code}/export")
@needs(ORGANIZER)
def export_day(code: str, database: DatabaseOfApp) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        content = day_files.export(session, code)
    name = f"{day_slug(day.name, day.code)}-{day.date.isoformat()}.bandstand.json"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/json", headers=headers)


async def _chosen_file(request: Request) -> tuple[str, bytes]:
    """Name and bytes; read once it is known who asks."""
    async with request.form() as form:
        upload = form.get("file")
        if isinstance(upload, UploadFile) and upload.filename:
            return shown(upload.filename), await upload.read()
    return "", b""


@router.post(DAY_IMPORT)
@needs(ORGANIZER)
def import_day(
    request: Request,
    database: DatabaseOfApp,
    now: Now,
    who: WhoAsks,
    chosen: Annotated[tuple[str, bytes], Depends(_chosen_file)],
) -> Response:
    name, data = chosen
    if not name:
        return render(
            request, days_page(database, who, now, not_brought=_("Choose the file of a day first.")), 422
        )
    try:
        content = day_files.read(data, name)
        with database.write() as session:
            day = day_imports.bring_in(session, who.club_id, content, name, now).day
    except FaultyDayFileError as error:
        return render(request, days_page(database, who, now, not_brought=str(error)), 422)
    return RedirectResponse(f"/days?brought={day.code}", 303)
