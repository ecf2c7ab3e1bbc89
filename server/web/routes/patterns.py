"""The page that shows every element, for whoever builds or judges a page."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.radio.grade import grade_word, picture_grade
from server.radio.site import Site
from server.services.day_clock import DayClock
from server.services.day_timeline import (
    AHEAD,
    EVERYBODY_LAND,
    FLOWN,
    NEXT,
    NOT_COUNTED,
    OPEN_FLYING,
    UP,
    DayTimeline,
    HeatTime,
    Period,
)
from server.services.margin_chart import MarginPicture, margin_picture
from server.services.roles import ORGANIZER
from server.services.site_sketch import SiteSketch, site_sketch
from server.services.timeline_chart import TimelinePicture, timeline_picture
from server.web.dependencies import needs
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


def _timeline() -> TimelinePicture | None:
    nine = datetime(2026, 5, 16, 9, tzinfo=UTC)

    def at(minutes: int) -> datetime:
        return nine + timedelta(minutes=minutes)

    heats = (
        HeatTime((1,), 1, FLOWN, at(2), at(12)),
        HeatTime((2,), 1, FLOWN, at(16), at(25)),
        HeatTime((3,), 1, NOT_COUNTED, at(75), at(80)),
        HeatTime((3,), 1, UP, at(90), at(97)),
        HeatTime((4,), 2, NEXT, at(104), at(118), is_expected=True),
        HeatTime((5,), 2, AHEAD, at(118), at(132), is_expected=True),
    )
    periods = (
        Period(OPEN_FLYING, at(28), at(64), is_on=False),
        Period(EVERYBODY_LAND, at(79), at(86), is_on=False),
    )
    clock = DayClock(at(97), timedelta(minutes=14), 2, None, 3, None, 3, None)
    return timeline_picture(
        DayTimeline(at(97), "UTC", heats, periods, nine, at(150), clock, is_archived=False)
    )


@dataclass(frozen=True)
class PatternsPage(Page):
    template: ClassVar[str] = "patterns.html"
    sketch: SiteSketch = field(default_factory=lambda: site_sketch(Site(), 25))
    margins: MarginPicture | None = field(default_factory=_margins)
    timeline: TimelinePicture | None = field(default_factory=_timeline)


@router.get("/patterns")
@needs(ORGANIZER)
def patterns(request: Request) -> HTMLResponse:
    return render(request, PatternsPage())
