"""The heat sheet of a published plan: on the screen, and as files for the records."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.services import exports, heat_sheets
from server.services.gear_words import ANTENNA_NAMES
from server.services.heat_sheets import By
from server.services.roles import DIRECTOR
from server.web.dependencies import (
    DatabaseOfApp,
    needs,
)
from server.web.live_mark import live_mark
from server.web.pages import HeatSheetPage
from server.web.templating import render

router = APIRouter()

CSV, JSON = "text/csv; charset=utf-8", "application/json"


@router.get("/days/{code}/heat-sheet")
@needs(DIRECTOR)
def show_heat_sheet(
    request: Request, code: str, database: DatabaseOfApp, plan: int | None = None, by: By = "heat"
) -> Response:
    with database.read() as session:
        day, sheet = heat_sheets.heat_sheet(session, code, plan)
        live = live_mark(session, day)
    page = HeatSheetPage(day=day, tab="heat-sheet", live=live, sheet=sheet, by=by, antennas=ANTENNA_NAMES)
    return render(request, page)


@router.get("/days/{code}/plan.csv")
@needs(DIRECTOR)
def get_plan_csv(code: str, database: DatabaseOfApp, plan: int | None = None) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    return _download(exports.plan_csv(sheet), CSV, exports.file_name(sheet, "", "csv"))


@router.get("/days/{code}/plan.json")
@needs(DIRECTOR)
def get_plan_json(code: str, database: DatabaseOfApp, plan: int | None = None) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    return _download(exports.plan_json(sheet), JSON, exports.file_name(sheet, "", "json"))


def _download(content: bytes, media_type: str, name: str) -> Response:
    return Response(
        content, media_type=media_type, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
