"""What is typed to make a field day: name, date, time zone, code."""

import os
import re
import zoneinfo
from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path

from server.services.faults import nearest, shown
from server.wording import gettext as _

FIELDS = ("name", "date", "time_zone", "code")
LONGEST_NAME = 80
EARLIEST_YEAR, LATEST_YEAR = 2000, 2100

_CODE = re.compile(r"[a-z]{4}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@cache
def time_zones() -> tuple[str, ...]:
    """The names of places that people choose from; the system's other zones are accepted too."""
    places = {zone for zone in zoneinfo.available_timezones() if "/" in zone and not zone.startswith("Etc/")}
    return ("UTC", *sorted(places))


def zone_of_this_machine() -> str:
    """The time zone that this computer is set to, UTC where it does not say."""
    set_to = os.environ.get("TZ") or str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]
    return set_to if set_to in time_zones() else "UTC"


def faults_of(text: Mapping[str, str]) -> dict[str, str]:
    """The sentence for each field that cannot be used; an empty code is to be made up."""
    found = {
        "name": _name_fault(text["name"]),
        "date": _date_fault(text["date"]),
        "time_zone": _time_zone_fault(text["time_zone"]),
        "code": _code_fault(text["code"]),
    }
    return {field: fault for field, fault in found.items() if fault}


def _name_fault(name: str) -> str | None:
    if not name:
        return _("Name the field day, such as Tern Meadow club day.")
    if len(name) > LONGEST_NAME:
        return _(
            "Shorten the name to %(longest)s characters; it has %(number)s.",
            longest=LONGEST_NAME,
            number=len(name),
        )
    return None if name.isprintable() else _("The name has a character that cannot be seen: type it again.")


def _date_fault(text: str) -> str | None:
    if not _DATE.fullmatch(text):
        if not text:
            return _("The date is missing: write it as year-month-day, such as 2026-05-16.")
        return _(
            "“%(text)s” is not a date: write it as year-month-day, such as 2026-05-16.", text=shown(text)
        )
    try:
        year = date.fromisoformat(text).year
    except ValueError:
        return _("The calendar has no %(text)s: write it as year-month-day, such as 2026-05-16.", text=text)
    if EARLIEST_YEAR <= year <= LATEST_YEAR:
        return None
    return _(
        "%(year)s is not a year for a field day: write it as year-month-day, such as 2026-05-16.", year=year
    )


def _time_zone_fault(text: str) -> str | None:
    if text and text in zoneinfo.available_timezones():
        return None
    meant = nearest(text, time_zones()) or zone_of_this_machine()
    if not text:
        return _("The time zone is missing: write one such as %(meant)s.", meant=meant)
    return _(
        "“%(text)s” is not a known time zone: write one such as %(meant)s.", text=shown(text), meant=meant
    )


def _code_fault(code: str) -> str | None:
    if not code or _CODE.fullmatch(code):
        return None
    return _("“%(code)s” cannot be a code: write four small letters, or leave it empty.", code=shown(code))
