"""The documents for the field: heat sheet, one page, pilot cards, channel cards, a blank check-in form."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal

from server.services.gear_words import ANTENNA_NAMES
from server.services.heat_sheets import HeatSheet
from server.services.pilot_cards import pilot_cards
from server.services.qr_codes import qr_svg
from server.services.site_fields import LABELS
from server.services.spectrum_strips import strip
from server.services.typesetting import Document, letters_missing
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import long_date, marked, short_decimal

Section = Literal["heat", "pilot", "channel", "spectrum"]
SECTIONS: Mapping[Section, str] = {
    "heat": marked("By heat"),
    "pilot": marked("By pilot"),
    "channel": marked("By channel"),
    "spectrum": marked("Spectrum in full"),
}
"""What a heat sheet can hold, in the order in which it does."""

MOST_ON_ONE_PAGE = (10, 18)
"""Channels and heats that stay readable on the one-page form."""


@dataclass(frozen=True)
class CheckInForm:
    """What stands on a blank form; `join_url` None where no address for phones is chosen."""

    day_name: str
    date: date
    join_url: str | None

    @classmethod
    def of(cls, day: FieldDay) -> "CheckInForm":
        return cls(day.name, day.date, day.base_url and f"{day.base_url.rstrip('/')}/join/{day.code}")


def heat_sheet(sheet: HeatSheet, sections: Sequence[Section], drawings: Mapping[int, str]) -> Document:
    """The sheet of a plan with these sections, in the order of SECTIONS.

    drawings  the spectrum of heats as an SVG, by the heat's number, for the section "spectrum"
    """
    facts: dict[str, Any] = {"sections": [one for one in SECTIONS if one in sections]}
    if "heat" in sections:
        facts["heats"] = [{**heat, "strip": strip(sheet.plan, heat)} for heat in sheet.heats]
    if "pilot" in sections:
        facts["pilots"] = [asdict(pilot) for pilot in sheet.pilots]
        facts["rounds"] = sorted({heat["round"] for heat in sheet.heats})
    if "channel" in sections:
        facts["channels"] = [asdict(use) for use in sheet.channels]
    if "spectrum" in sections:
        facts["spectra"] = [
            {"heat": heat["heat"], "round": heat["round"], "svg": drawings[heat["heat"]]}
            for heat in sheet.heats
            if heat["heat"] in drawings
        ]
    return Document("heat_sheet.typ", {**_sheet_facts(sheet), **facts}, sheet.published_at)


def one_page(sheet: HeatSheet) -> Document:
    """Heats down, channels across, callsigns in the cells: the day on one page. See `too_large_for_one_page`."""
    heats = [
        {
            "heat": heat["heat"],
            "round": heat["round"],
            "cells": {
                str(slot["mhz"]): {"callsign": slot["callsign"], "power_mw": slot["power_mw"]}
                for slot in heat["slots"]
            },
        }
        for heat in sheet.heats
    ]
    channels = [{"labels": use.labels, "mhz": use.mhz} for use in sheet.channels]
    facts = {**_sheet_facts(sheet), "heats": heats, "channels": channels}
    return Document("one_page.typ", facts, sheet.published_at)


def too_large_for_one_page(sheet: HeatSheet) -> str | None:
    """Why a plan does not fit on one page; None where it does."""
    channels, heats = len(sheet.channels), len(sheet.heats)
    most_channels, most_heats = MOST_ON_ONE_PAGE
    if channels <= most_channels and heats <= most_heats and not _shares_a_carrier(sheet):
        return None
    if _shares_a_carrier(sheet):
        return _("Two pilots of one heat are on one carrier: only the heat sheet by heat can show that.")
    return _(
        "One page holds %(most_heats)s heats on %(most_channels)s channels; here are %(heats)s on "
        "%(channels)s. Take the heat sheet by heat.",
        most_heats=most_heats,
        most_channels=most_channels,
        heats=heats,
        channels=channels,
    )


def pilot_cards_of(sheet: HeatSheet, links: Mapping[int, str]) -> Document:
    """A card for each pilot, eight to a page, to be cut apart. For the director alone: see `pilot_cards`."""
    facts = {**_sheet_facts(sheet), "cards": pilot_cards(sheet.heats, links)}
    return Document("pilot_cards.typ", facts, sheet.published_at)


def channel_cards(sheet: HeatSheet) -> Document:
    """A card for each channel in use, eight to a page, to be cut apart."""
    cards = [
        {"labels": use.labels, "mhz": use.mhz, "pilots": list(use.heats_of_pilots.items())}
        for use in sheet.channels
    ]
    return Document("channel_cards.typ", {**_sheet_facts(sheet), "cards": cards}, sheet.published_at)


def names_not_drawn(sheet: HeatSheet) -> list[tuple[str, int]]:
    """Callsigns with letters that no font here can draw, each with the number of these letters."""
    callsigns = [pilot.callsign for pilot in sheet.pilots]
    missing = letters_missing(callsigns)
    counted = ((callsign, sum(letter in missing for letter in callsign)) for callsign in callsigns)
    return [(callsign, count) for callsign, count in counted if count]


def check_in_form(form: CheckInForm) -> Document:
    facts = {
        "day_name": form.day_name,
        "date": long_date(form.date),
        "join": form.join_url and _link(form.join_url),
    }
    return Document("check_in_form.typ", facts)


def _shares_a_carrier(sheet: HeatSheet) -> bool:
    return any(len({slot["mhz"] for slot in heat["slots"]}) < len(heat["slots"]) for heat in sheet.heats)


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
        "assumptions": [
            (LABELS.get(one["name"], one["name"]), _value(one)) for one in sheet.plan["assumptions"]
        ],
        "warnings": sheet.plan["warnings"],
        "moves": sheet.plan["moves"],
        "antennas": ANTENNA_NAMES,
        "board": sheet.board_url and _link(sheet.board_url),
    }


def _value(assumption: Mapping[str, Any]) -> str:
    value = assumption["value"]
    if isinstance(value, list):
        return " ".join(str(one) for one in value) or "none"
    words = (
        short_decimal(value) if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
    )
    return f"{words} {assumption['unit']}".strip().replace("-", "\N{MINUS SIGN}")


def _link(url: str) -> dict[str, str]:
    """A code to scan and, under it, the address to type."""
    return {"qr": qr_svg(url), "address": url.removeprefix("http://")}
