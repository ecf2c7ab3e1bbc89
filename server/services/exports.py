"""A published plan as files: CSV for spreadsheets, JSON for the records; and what all its files are called."""

import csv
import io
import json
import re
import unicodedata
from collections.abc import Iterable
from typing import Any

from server.services.heat_sheets import HeatSheet

COLUMNS = (
    "plan",
    "published_at",
    "day",
    "date",
    "heat",
    "round",
    "callsign",
    "channel",
    "mhz",
    "power_mw",
    "antenna",
    "margin_db",
    "stressed_margin_db",
    "picture_grade",
    "grade_word",
    "link_margin_db",
    "limiting_cause",
)

# What a spreadsheet takes for the start of a formula, wide forms too; it cuts white space away before it looks.
_FORMULA = re.compile(r"\s*[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_LONGEST_NAME = 40


def plan_csv(sheet: HeatSheet) -> bytes:
    """One row for each slot, in UTF-8 with the mark by which spreadsheets know it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    writer.writerows(_rows(sheet))
    return text.getvalue().encode("utf-8-sig")


def plan_json(sheet: HeatSheet) -> bytes:
    """The snapshot as it is stored, with the number of its schema."""
    return json.dumps(sheet.plan, ensure_ascii=False, allow_nan=False, indent=2).encode() + b"\n"


def file_name(sheet: HeatSheet, what: str, extension: str) -> str:
    """ "tern-meadow-club-day-2026-05-16-plan-4-cards-a4.pdf"; the code where the name has no Latin letter."""
    day = sheet.plan["day"]
    parts = (day_slug(day["name"], day["code"]), day["date"], f"plan-{sheet.number}", what)
    return f"{'-'.join(part for part in parts if part)}.{extension}"


def day_slug(name: str, code: str) -> str:
    """A day's name in small Latin letters, as every system takes it in a file name."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain)[:_LONGEST_NAME].strip("-")
    return slug if re.search("[a-z]", slug) else code


def _rows(sheet: HeatSheet) -> Iterable[list[Any]]:
    plan = sheet.plan
    common = [plan["number"], plan["published_at"], plan["day"]["code"], plan["day"]["date"]]
    for heat in sheet.heats:
        for slot in heat["slots"]:
            facts = {**slot, "limiting_cause": slot["cause_words"]}
            named = [facts[column] for column in COLUMNS[len(common) + 2 :]]
            yield [_cell(value) for value in (*common, heat["heat"], heat["round"], *named)]


def _cell(value: Any) -> Any:
    """Text that a spreadsheet would compute gets an apostrophe in front; numbers stay numbers."""
    if isinstance(value, str) and _FORMULA.match(value):
        return f"'{value}"
    return value
