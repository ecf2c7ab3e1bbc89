from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.services import logbook
from server.web.dependencies import DatabaseOfApp, RowNumber
from server.web.live_mark import live_mark
from server.web.pages import LogbookOfDay
from server.web.templating import render

router = APIRouter()


@router.get("/days/{code}/logbook")
def show_logbook(
    request: Request, code: str, database: DatabaseOfApp, before: RowNumber | None = None
) -> Response:
    with database.read() as session:
        page = logbook.page(session, code, before)
        live = live_mark(session, page.day)
    return render(
        request,
        LogbookOfDay(
            day=page.day,
            tab="logbook",
            live=live,
            entries=page.entries,
            older_before=page.older_before,
            is_newest=before is None,
        ),
    )
