"""Every table that Bandstand writes for spreadsheets: no cell of it is computed there."""

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

from server.services import exports, heat_sheets
from server.services.exports import plan_csv
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish

SERVER = Path(exports.__file__).parents[1]
WRITERS = {"services/exports.py"}
"""Modules that write tables; each has its test below."""
SENDERS = {"web/routes/heat_sheet.py"}

STARTS = ("=", "+", "-", "@", "\t", "\r", "\n=", " =", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What spreadsheets take for the start of a formula, as common practice, no source, has it; wide forms too."""


def modules_with(pattern):
    found = {
        path.relative_to(SERVER).as_posix()
        for path in SERVER.rglob("*.py")
        if re.search(pattern, path.read_text())
    }
    return found


def test_one_module_writes_tables_and_one_route_sends_them():
    assert modules_with(r"csv\.(writer|DictWriter)|\.to_csv\(|writerow") == WRITERS
    assert modules_with(r"""["']text/(csv|tab-separated-values)""") == SENDERS


@pytest.fixture
def sheet(database):
    with database.write() as session:
        day = make_day(session)
        publish(
            session,
            day,
            [[(make_pilot(session, day, "Wren"), "R1"), (make_pilot(session, day, "Otter"), "R8")]],
        )
    with database.read() as session:
        return heat_sheets.published_sheet(session, day.code, None)


def hostile(value, start):
    """Every text of a plan begins like a formula, wherever it stands."""
    if isinstance(value, dict):
        return {name: hostile(one, start) for name, one in value.items()}
    if isinstance(value, list):
        return [hostile(one, start) for one in value]
    return f"{start}1+1" if isinstance(value, str) else value


@pytest.mark.parametrize("start", STARTS)
def test_no_cell_of_a_plan_begins_like_a_formula(sheet, start):
    written = plan_csv(replace(sheet, plan=hostile(sheet.plan, start)))
    rows = list(csv.reader(io.StringIO(written.decode("utf-8-sig"), newline="")))
    texts = [cell for row in rows[1:] for cell in row if "1+1" in cell]
    assert len(texts) >= 2 * 6
    assert all(cell.startswith("'") for cell in texts)
