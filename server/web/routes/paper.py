"""What there is to print: the page with a picture of each document, and the documents themselves.

Closed to strangers like every page of the director's: pilot cards bear the private links.
"""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import exports, heat_sheets, paper, paper_choices, typesetting
from server.services.days import day_with
from server.services.errors import InputError, NotFoundError, RefusedError
from server.services.paper import SECTIONS, CheckInForm, Section
from server.services.paper_choices import SIZES, PaperChoices, paper_choices_of
from server.services.pilot_cards import links_of_pilots
from server.services.roles import DIRECTOR, HELPER
from server.services.typesetting import Document, Paper
from server.web.dependencies import (
    DatabaseOfApp,
    needs,
)
from server.web.form_text import FormText
from server.web.live_mark import live_mark
from server.web.paper_pages import KINDS, Kind, PaperItem, PaperPage, PapersFragment
from server.web.templating import is_fragment, render, spectrum_svg
from server.wording import gettext as _

router = APIRouter(prefix="/days/{code}/paper")

PaperSize = Annotated[Paper | None, Query(alias="paper")]
SheetSections = Annotated[Sequence[Section], Query(alias="section")]

PREVIEW_PPI = 60


@router.get("")
@needs(HELPER)
def show_paper(request: Request, code: str, database: DatabaseOfApp, plan: int | None = None) -> Response:
    return _show(request, database, code, plan)


@router.post("")
@needs(DIRECTOR)
def keep_paper_choices(
    request: Request, code: str, database: DatabaseOfApp, form: FormText, plan: int | None = None
) -> Response:
    sections = [name for name in SECTIONS if f"section_{name}" in form]
    try:
        with database.write() as session:
            paper_choices.keep(session, day_with(session, code), form.get("size", ""), sections)
    except InputError as error:
        return _show(request, database, code, plan, error)
    if is_fragment(request):
        return _show(request, database, code, plan)
    return RedirectResponse(f"/days/{code}/paper{f'?plan={plan}' if plan else ''}", 303)


@router.get("/{kind}.pdf")
@needs(HELPER)
def get_pdf(
    request: Request,
    code: str,
    kind: Kind,
    database: DatabaseOfApp,
    plan: int | None = None,
    size: PaperSize = None,
    sections: SheetSections = (),
) -> Response:
    """As a file, not in the browser's own viewer: the pages' security policy would hold for that too."""
    with database.read() as session:
        choices = _asked(session, code, size, sections)
        document, name = _document(request, session, code, kind, plan, choices)
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(typesetting.as_pdf(document, choices.size), media_type="application/pdf", headers=headers)


@router.get("/{kind}.png")
@needs(HELPER)
def get_preview(
    request: Request,
    code: str,
    kind: Kind,
    database: DatabaseOfApp,
    plan: int | None = None,
    size: PaperSize = None,
    sections: SheetSections = (),
) -> Response:
    """The first page, for the screen. The codes on its pilot cards lead to no pilot's page."""
    with database.read() as session:
        choices = _asked(session, code, size, sections)
        document, _ = _document(request, session, code, kind, plan, choices, is_preview=True)
    picture = typesetting.first_page_png(document, choices.size, PREVIEW_PPI)
    return Response(picture, media_type="image/png", headers={"Cache-Control": "no-store"})


def _show(
    request: Request, database: DatabaseOfApp, code: str, plan: int | None, refused: InputError | None = None
) -> Response:
    with database.read() as session:
        day, sheet = heat_sheets.heat_sheet(session, code, plan)
        choices, live = paper_choices_of(session, day), live_mark(session, day)
        number = sheet.number if sheet else None
        documents = {
            kind: _document_or_reason(request, session, code, kind, number, choices) for kind in KINDS
        }
    fragment = PapersFragment(
        day=day,
        sheet=sheet,
        choices=choices,
        sizes=SIZES,
        sections={name: _(words) for name, words in SECTIONS.items()},
        items=[_item(kind, found, number, choices) for kind, found in documents.items()],
        names_not_drawn=paper.names_not_drawn(sheet) if sheet else (),
        errors=refused.faults if refused else {},
    )
    status = 422 if refused else 200
    if is_fragment(request):
        return render(request, fragment, status)
    return render(request, PaperPage(**vars(fragment), tab="heat-sheet", live=live), status)


def _document_or_reason(
    request: Request, session: Session, code: str, kind: Kind, plan: int | None, choices: PaperChoices
) -> Document | str:
    try:
        return _document(request, session, code, kind, plan, choices)[0]
    except (NotFoundError, RefusedError) as error:
        return str(error)


def _titled(kind: Kind) -> tuple[str, str]:
    title, about = KINDS[kind]
    return _(title), _(about)


def _item(kind: Kind, found: Document | str, plan: int | None, choices: PaperChoices) -> PaperItem:
    """What the page says of one document, or why it cannot be had."""
    if isinstance(found, str):
        return PaperItem(kind, *_titled(kind), why_not=found)
    query = [f"plan={plan}"] if plan and kind != "check-in-form" else []
    query.append(f"paper={choices.size}")
    if kind == "heat-sheet":
        query += [f"section={section}" for section in choices.sections]
    return PaperItem(kind, *_titled(kind), typesetting.page_count(found, choices.size), "&".join(query))


def _asked(session: Session, code: str, size: Paper | None, sections: Sequence[Section]) -> PaperChoices:
    kept = paper_choices_of(session, day_with(session, code))
    return PaperChoices(size or kept.size, tuple(sections) or kept.sections)


def _document(
    request: Request,
    session: Session,
    code: str,
    kind: Kind,
    plan: int | None,
    choices: PaperChoices,
    is_preview: bool = False,
) -> tuple[Document, str]:
    """A document with the name of its file. Raises NotFoundError, RefusedError."""
    day = day_with(session, code)
    ending = f"{kind}-{choices.size}"
    if kind == "check-in-form":
        name = f"{exports.day_slug(day.name, day.code)}-{day.date.isoformat()}-{ending}.pdf"
        return paper.check_in_form(CheckInForm.of(day)), name
    sheet = heat_sheets.published_sheet(session, code, plan)
    name = exports.file_name(sheet, ending, "pdf")
    if kind == "heat-sheet":
        is_drawn = "spectrum" in choices.sections
        drawings = {
            heat["heat"]: spectrum_svg(request, charts[0]) for heat, charts in sheet.spectra if is_drawn
        }
        return paper.heat_sheet(sheet, choices.sections, drawings), name
    if kind == "one-page":
        if reason := paper.too_large_for_one_page(sheet):
            raise RefusedError(reason)
        return paper.one_page(sheet), name
    if kind == "pilot-cards":
        links = links_of_pilots(session, day)
        return paper.pilot_cards_of(
            sheet, dict.fromkeys(links, str(day.base_url)) if is_preview else links
        ), name
    return paper.channel_cards(sheet), name
