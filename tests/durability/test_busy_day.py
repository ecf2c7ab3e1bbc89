"""The judge of the busy day: what is missing or done by half is seen."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.durability import busy_day


@pytest.fixture
def day(tmp_path: Path) -> busy_day.Day:
    return busy_day.made(tmp_path, days_to_publish=1)


def run(file: Path, statement: str) -> None:
    with closing(sqlite3.connect(file)) as rows:
        rows.execute(statement)
        rows.commit()


@pytest.mark.parametrize(
    "change",
    [("pilot", "P1"), ("day", "Day 1"), ("plan", "zzzz"), ("land", "Reason 1."), ("lift", "after 1")],
)
def test_a_change_that_was_answered_and_is_not_there_is_lost(day, change):
    assert busy_day.lost(day, day.file) == set()
    day.answered[change] = 5.0
    assert len(busy_day.lost(day, day.file)) == 1
    assert len(busy_day.lost(day, day.file, before=5.0)) == 0


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DELETE FROM aircraft WHERE id = 1", "pilots without an aircraft that they fly"),
        ("UPDATE field_day SET code = 'wren', name = 'Day 9' WHERE code = 'busy'", "days without their row"),
        ("INSERT INTO published_plan (field_day_id, number, snapshot_json, model_version, published_at, "
         "published_by) VALUES (2, 1, '{}', '1', '2026-05-16', 'x')", "plans whose draft does not know of them"),
        ("UPDATE pilot SET field_day_id = 1 WHERE id = 1", "pilots without their row in the logbook"),
        ("INSERT INTO flight_line (field_day_id, everybody_land_at, everybody_land_reason, everybody_land_who, "
         "starts_at, ends_by, may_clear_beside, counted_from_call, last_step_json, version) "
         "VALUES (1, '2026-05-16', '', '', '', '', 0, 0, '', 1)", "an alarm that the logbook does not know"),
    ],
)  # fmt: skip
def test_what_was_done_by_half_is_seen(day, statement, words):
    assert busy_day.faults(day.file) == []
    run(day.file, statement)
    assert any(fault.startswith(words) for fault in busy_day.faults(day.file))
