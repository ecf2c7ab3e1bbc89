"""The field guide: what a pilot should know, in general words, for everybody."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.radio.site import Site
from server.services.site_facts import Ceiling, site_facts
from server.web.dependencies import public
from server.web.templating import Page, render
from server.web.way_back import way_back

USUAL_AIRCRAFT = 6

router = APIRouter()


@dataclass(frozen=True)
class GuidePage(Page):
    """`back` leads to the page that led here."""

    template: ClassVar[str] = "guide/page.html"
    back: str
    ceilings: Sequence[Ceiling]


@router.get("/guide")
@public
def guide(request: Request) -> HTMLResponse:
    return render(
        request, GuidePage(back=way_back(request), ceilings=site_facts(Site(), USUAL_AIRCRAFT).ceilings)
    )
