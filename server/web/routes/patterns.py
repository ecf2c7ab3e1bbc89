"""The page that shows every element, for whoever builds or judges a page."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.web.templating import Page, render

router = APIRouter()


@dataclass(frozen=True)
class PatternsPage(Page):
    template: ClassVar[str] = "patterns.html"


@router.get("/patterns")
def patterns(request: Request) -> HTMLResponse:
    return render(request, PatternsPage())
