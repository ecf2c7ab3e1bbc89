from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.services import logbook
from server.services.day_hours import timeline_at
from server.services.roles import DIRECTOR
from server.services.timeline_chart import timeline_picture
from server.web.dependencies import (
    DatabaseOfApp,
    Now,
    RowNumber,
    needs,
)
from server.web.live_mark import live_mark
from server.web.pages import LogbookOfDay
from server.web.templating import render

router = APIRouter()


@router.get("/days/{code}/logbook")
@needs(DIRECTOR)
def show_logbook(
    request: Request, code: str, database: DatabaseOfApp, now: Now, before: RowNumber | None = None
) -> Response:
    with database.read() as session:
        page = logbook.page(session, code, before)
        timeline = timeline_at(session, page.day, now) if before is None else None
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
            timeline=timeline_picture(timeline),
        ),
    )
