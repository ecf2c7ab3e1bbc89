"""The spectrum of one heat, fetched by an open page: of the draft, with a pilot on trial, or as published."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.services import plans
from server.services.days import day_with
from server.services.errors import NotFoundError
from server.services.roles import DIRECTOR
from server.services.standings import standing
from server.web.dependencies import (
    DatabaseOfApp,
    RowNumber,
    needs,
)
from server.web.open_slot import shown_now
from server.web.spectrum_pages import (
    Spectrum,
    SpectrumFragment,
    draft_spectrum,
    stored_spectrum,
    trial_spectrum,
)
from server.web.templating import render
from server.wording import gettext as _

router = APIRouter()

MovedId = Annotated[RowNumber | None, Query(alias="moved")]


@router.get("/days/{code}/plan/spectrum")
@needs(DIRECTOR)
def show_spectrum(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    heat: RowNumber,
    moved: MovedId = None,
    mhz: RowNumber | None = None,
) -> Response:
    """The drawing of one heat with a pilot on trial or without."""
    with database.read() as session:
        day = day_with(session, code)
        if moved and mhz:
            spectrum: Spectrum | None = trial_spectrum(session, day, heat, (moved, mhz))
        else:
            now = standing(session, day)
            spectrum = draft_spectrum(now.draft, shown_now(now), heat)
    if spectrum is None:
        raise NotFoundError(
            _("There is no heat %(heat)s in the plan any more. Load the page again.", heat=heat)
        )
    return render(request, SpectrumFragment(day, spectrum))


@router.get("/days/{code}/plan/{number}/spectrum")
@needs(DIRECTOR)
def show_published_spectrum(
    request: Request, code: str, number: RowNumber, heat: RowNumber, database: DatabaseOfApp
) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        spectrum = stored_spectrum(plans.published_plan(session, day, number), heat)
    if spectrum is None:
        raise NotFoundError(_("Plan %(number)s has no heat %(heat)s.", number=number, heat=heat))
    return render(request, SpectrumFragment(day, spectrum))
