"""PDF files for the field: heat sheets, channel cards, a blank check-in form.

The documents are typst templates in `templates/paper`. Every fact reaches them as JSON and is set as text,
never read as markup, so that nothing typed can change a document.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, Literal

import typst

from server import paths
from server.services.gear_words import ANTENNA_NAMES
from server.services.heat_sheets import By, HeatSheet
from server.services.qr_codes import qr_svg
from server.storage.tables import FieldDay

Paper = Literal["a4", "letter"]

_FOLDER = paths.TEMPLATES / "paper"


@dataclass(frozen=True)
class CheckInForm:
    """What stands on a blank form; `join_url` None where no address for phones is chosen."""

    day_name: str
    date: date
    join_url: str | None

    @classmethod
    def of(cls, day: FieldDay) -> "CheckInForm":
        return cls(day.name, day.date, day.base_url and f"{day.base_url.rstrip('/')}/join/{day.code}")


def heat_sheet_pdf(sheet: HeatSheet, paper: Paper, by: By, drawings: Mapping[int, str]) -> bytes:
    """The sheet of a plan.

    drawings  the spectrum of heats as an SVG, by the heat's number; shown on the sheet by heat
    """
    if by == "heat":
        drawn = [
            {"heat": heat["heat"], "round": heat["round"], "svg": svg}
            for heat in sheet.heats
            if (svg := drawings.get(heat["heat"]))
        ]
        facts = {**_sheet_facts(sheet), "heats": sheet.heats, "spectra": drawn}
        return _pdf("heats.typ", paper, facts, sheet.published_at)
    channels = [asdict(use) for use in sheet.channels]
    return _pdf("channels.typ", paper, {**_sheet_facts(sheet), "channels": channels}, sheet.published_at)


def cards_pdf(sheet: HeatSheet, paper: Paper) -> bytes:
    """A card for each channel in use, eight to a page, to be cut apart."""
    cards = [
        {"labels": use.labels, "mhz": use.mhz, "pilots": list(use.heats_of_pilots.items())}
        for use in sheet.channels
    ]
    return _pdf("cards.typ", paper, {**_sheet_facts(sheet), "cards": cards}, sheet.published_at)


def check_in_form_pdf(form: CheckInForm, paper: Paper) -> bytes:
    facts = {
        "day_name": form.day_name,
        "date": long_date(form.date),
        "join": form.join_url and _link(form.join_url),
    }
    return _pdf("check_in_form.typ", paper, facts)


def long_date(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B %Y}"


def _sheet_facts(sheet: HeatSheet) -> dict[str, Any]:
    return {
        "day_name": sheet.plan["day"]["name"],
        "date": long_date(sheet.date),
        "number": sheet.number,
        "replaces": sheet.plan["replaces"],
        "replaced_by": sheet.replaced_by,
        "published": sheet.published_words,
        "rules": sheet.rules_words,
        "conditions": sheet.plan["rules"]["conditions"] or "",
        "distances": sheet.distances_words,
        "warnings": sheet.plan["warnings"],
        "moves": sheet.plan["moves"],
        "antennas": ANTENNA_NAMES,
        "board": sheet.board_url and _link(sheet.board_url),
    }


def _link(url: str) -> dict[str, str]:
    """A code to scan and, under it, the address to type."""
    return {"qr": qr_svg(url), "address": url.removeprefix("http://")}


def _pdf(template: str, paper: Paper, facts: Mapping[str, Any], at: datetime | None = None) -> bytes:
    """at  the moment that the file bears, so that the same plan always gives the same file"""
    data = json.dumps({**facts, "paper": paper}, allow_nan=False)
    made = typst.compile(
        str(_FOLDER / template),
        root=str(_FOLDER),
        font_paths=_fonts(),
        sys_inputs={"data": data},
        format="pdf",
        timestamp=int(at.timestamp()) if at else None,
    )
    assert isinstance(made, bytes)
    return made


@cache
def _fonts() -> typst.Fonts:
    """Ours, those that come with typst, and the system's for letters that neither has; looked up once."""
    return typst.Fonts(include_system_fonts=True, font_paths=[str(paths.STATIC / "fonts")])
