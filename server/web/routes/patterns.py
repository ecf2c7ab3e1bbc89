"""The page that shows every element, for whoever builds or judges a page."""

from dataclasses import dataclass, field
from typing import Any, ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.radio.grade import grade_word, picture_grade
from server.radio.site import Site
from server.services.margin_chart import MarginPicture, margin_picture
from server.services.site_sketch import SiteSketch, site_sketch
from server.web.templating import Page, render

router = APIRouter()

_MARGINS_DB = {
    "Wren": (1.0, 0.4),
    "Maximiliane-Theodora-F24": (-3.2, -1.0),
    "Otter": (-11.4, -0.2),
    "Rook": (-18.9, -6.0),
    "Quill": (7.0, 1.7),
    "Teasel": (None,),
}
"""Of pilots of every grade, one that crossed antennas lift above the ceiling, and one alone in the air."""


def _margins() -> MarginPicture | None:
    heats: list[dict[str, Any]] = [{"heat": heat, "site_ceiling_db": 1.0, "slots": []} for heat in (1, 2)]
    for pilot_id, (callsign, margins_db) in enumerate(_MARGINS_DB.items()):
        for heat, margin_db in zip(heats, margins_db, strict=False):
            word = grade_word(picture_grade(margin_db))
            heat["slots"].append(
                {"pilot_id": pilot_id, "callsign": callsign, "margin_db": margin_db, "grade_word": word}
            )
    return margin_picture({"heats": heats})


@dataclass(frozen=True)
class PatternsPage(Page):
    template: ClassVar[str] = "patterns.html"
    sketch: SiteSketch = field(default_factory=lambda: site_sketch(Site(), 25))
    margins: MarginPicture | None = field(default_factory=_margins)


@router.get("/patterns")
def patterns(request: Request) -> HTMLResponse:
    return render(request, PatternsPage())
