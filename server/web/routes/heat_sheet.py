"""The heat sheet of a published plan: on the screen, as PDF files, and as files for the records."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.services import exports, heat_sheets, paper
from server.services.days import day_with
from server.services.gear_words import ANTENNA_NAMES
from server.services.heat_sheets import By
from server.services.paper import CheckInForm, Paper
from server.web.dependencies import DatabaseOfApp
from server.web.live_mark import live_mark
from server.web.pages import HeatSheetPage
from server.web.templating import render, spectrum_svg

router = APIRouter()

PaperSize = Annotated[Paper, Query(alias="paper")]

PDF, CSV, JSON = "application/pdf", "text/csv; charset=utf-8", "application/json"


@router.get("/days/{code}/heat-sheet")
def show_heat_sheet(
    request: Request, code: str, database: DatabaseOfApp, plan: int | None = None, by: By = "heat"
) -> Response:
    with database.read() as session:
        day, sheet = heat_sheets.heat_sheet(session, code, plan)
        live = live_mark(session, day)
    page = HeatSheetPage(day=day, tab="heat-sheet", live=live, sheet=sheet, by=by, antennas=ANTENNA_NAMES)
    return render(request, page)


@router.get("/days/{code}/heat-sheet.pdf")
def get_heat_sheet_pdf(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    plan: int | None = None,
    by: By = "heat",
    paper_size: PaperSize = "a4",
) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    name = exports.file_name(sheet, f"by-{by}-{paper_size}", "pdf")
    drawings = {heat["heat"]: spectrum_svg(request, charts[0]) for heat, charts in sheet.spectra}
    return _download(paper.heat_sheet_pdf(sheet, paper_size, by, drawings), PDF, name)


@router.get("/days/{code}/cards.pdf")
def get_cards_pdf(
    code: str, database: DatabaseOfApp, plan: int | None = None, paper_size: PaperSize = "a4"
) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    name = exports.file_name(sheet, f"cards-{paper_size}", "pdf")
    return _download(paper.cards_pdf(sheet, paper_size), PDF, name)


@router.get("/days/{code}/check-in-form.pdf")
def get_check_in_form_pdf(code: str, database: DatabaseOfApp, paper_size: PaperSize = "a4") -> Response:
    with database.read() as session:
        day = day_with(session, code)
    form = CheckInForm.of(day)
    name = f"{exports.day_slug(day.name, day.code)}-{day.date.isoformat()}-check-in-form-{paper_size}.pdf"
    return _download(paper.check_in_form_pdf(form, paper_size), PDF, name)


@router.get("/days/{code}/plan.csv")
def get_plan_csv(code: str, database: DatabaseOfApp, plan: int | None = None) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    return _download(exports.plan_csv(sheet), CSV, exports.file_name(sheet, "", "csv"))


@router.get("/days/{code}/plan.json")
def get_plan_json(code: str, database: DatabaseOfApp, plan: int | None = None) -> Response:
    with database.read() as session:
        sheet = heat_sheets.published_sheet(session, code, plan)
    return _download(exports.plan_json(sheet), JSON, exports.file_name(sheet, "", "json"))


def _download(content: bytes, media_type: str, name: str) -> Response:
    """As a file, not in the browser's own viewer: the pages' security policy would hold for that too."""
    return Response(
        content, media_type=media_type, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
