import csv
import io
import json

import pytest

from server.services.exports import COLUMNS, day_slug, file_name, plan_csv, plan_json
from tests.services.heat_sheet_plans import make_sheet

MARK = b"\xef\xbb\xbf"


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_one_row_for_each_slot_with_the_facts_of_the_snapshot():
    rows = rows_of(plan_csv(make_sheet([[("Wren", "R1"), ("Дрозд", 5810)], [("Wren", "R1")]])))
    assert tuple(rows[0]) == COLUMNS
    assert [(row["heat"], row["callsign"], row["channel"], row["mhz"]) for row in rows] == [
        ("1", "Wren", "R1", "5658"),
        ("1", "Дрозд", "", "5810"),
        ("2", "Wren", "R1", "5658"),
    ]
    first = rows[0]
    assert (first["plan"], first["published_at"], first["day"]) == ("4", "2026-05-16T09:30:00+00:00", "tern")
    assert (first["power_mw"], first["margin_db"], first["grade_word"]) == ("25", "1.0", "clean")


def test_a_spreadsheet_is_told_that_it_is_utf_8():
    assert plan_csv(make_sheet([[("Wren", "R1")]])).startswith(MARK + b"plan,published_at,")


def test_a_margin_that_nobody_takes_is_empty_and_a_negative_one_a_number():
    sheet = make_sheet([[("Wren", "R1"), ("Otter", "R8")]])
    alone, other = sheet.plan["heats"][0]["slots"]
    alone["margin_db"], other["margin_db"] = None, -0.59
    assert [row["margin_db"] for row in rows_of(plan_csv(sheet))] == ["", "-0.59"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", " =", "\n=", "\uff1d"])
def test_nothing_typed_is_computed_by_a_spreadsheet(start):
    callsign = f'{start}HYPERLINK("http://evil.example")'
    (row,) = rows_of(plan_csv(make_sheet([[(callsign, "R1")]])))
    assert row["callsign"] == f"'{callsign}"


def test_an_ordinary_dash_inside_a_callsign_stays():
    (row,) = rows_of(plan_csv(make_sheet([[("Wren-2, the third", "R1")]])))
    assert row["callsign"] == "Wren-2, the third"


def test_json_is_the_snapshot_as_it_is_stored():
    sheet = make_sheet([[("Дрозд", "R1")]])
    content = plan_json(sheet)
    assert json.loads(content) == sheet.plan
    assert json.loads(content)["schema"] == 1
    assert "Дрозд".encode() in content


def test_json_never_holds_what_is_no_number():
    sheet = make_sheet([[("Wren", "R1")]], bound_db=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        plan_json(sheet)


def test_a_file_is_called_after_the_day_and_the_plan():
    sheet = make_sheet([[("Wren", "R1")]])
    assert file_name(sheet, "cards-a4", "pdf") == "tern-meadow-club-day-2026-05-16-plan-4-cards-a4.pdf"
    assert file_name(sheet, "", "csv") == "tern-meadow-club-day-2026-05-16-plan-4.csv"


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Señor Ñu's day / 2", "senor-nu-s-day-2"),
        ("Полевой день", "tern"),  # no Latin letter: the code
        ("2026", "tern"),
        ('../../etc/"passwd"\r\n', "etc-passwd"),
        ("x" * 80, "x" * 40),
    ],
)
def test_a_day_in_a_file_name_is_plain(name, slug):
    assert day_slug(name, "tern") == slug
