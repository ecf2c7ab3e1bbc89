"""The field guide: what a pilot should know, in general words, for everybody."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.radio.site import Site
from server.services.site_facts import Ceiling, site_facts
from server.storage.tables import FieldDay
from server.web.day_to_land import day_to_land
from server.web.dependencies import public
from server.web.templating import Page, render
from server.web.way_back import way_back

USUAL_AIRCRAFT = 6

router = APIRouter()


@dataclass(frozen=True)
class GuidePage(Page):
    """`back` leads to the page that led here; `current` is the day that EVERYBODY LAND is for."""

    template: ClassVar[str] = "guide/page.html"
    back: str
    current: FieldDay | None
    ceilings: Sequence[Ceiling]


@router.get("/guide")
@public
def guide(request: Request) -> HTMLResponse:
    ceilings = site_facts(Site(), USUAL_AIRCRAFT).ceilings
    return render(request, GuidePage(way_back(request), day_to_land(request), ceilings))
