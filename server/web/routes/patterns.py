"""The page that shows every element, for whoever builds or judges a page."""

from dataclasses import dataclass, field
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.radio.site import Site
from server.services.site_sketch import SiteSketch, site_sketch
from server.web.templating import Page, render

router = APIRouter()


@dataclass(frozen=True)
class PatternsPage(Page):
    template: ClassVar[str] = "patterns.html"
    sketch: SiteSketch = field(default_factory=lambda: site_sketch(Site(), 25))


@router.get("/patterns")
def patterns(request: Request) -> HTMLResponse:
    return render(request, PatternsPage())
