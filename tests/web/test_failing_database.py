"""A full disk, a folder that may not be written, a locked or damaged data file, a clock that was set back."""

import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from server.main import create_app
from server.services import days
from server.storage import session as storage_session
from server.storage.session import AWAY, DAMAGED, FULL, LOCKED, READ_ONLY, Database, DatabaseFailsError
from server.web.errors import DATABASE_FAILS
from tests.factories import FIRST_CLUB, NOW, make_day

TYPED = {"name": "Hall evening", "date": "2026-05-16", "time_zone": "Europe/Dublin"}


@pytest.fixture
def place(data_file):
    """What fails here is a data file, whatever the other tests run on."""
    return data_file


@pytest.fixture
def settings(settings, monkeypatch):
    monkeypatch.setattr(storage_session, "BUSY_TIMEOUT_S", 0.1)
    return settings


def names(database) -> list[str]:
    with database.read() as session:
        return [day.name for day in days.all_days(session, FIRST_CLUB)]


def test_a_data_file_that_another_program_holds_is_told_and_nothing_is_lost(organizer, database, data_file):
    with closing(sqlite3.connect(data_file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = organizer.post("/days", data=TYPED)
        assert answer.status_code == 503
        assert "Another program holds the data file, so this was not saved." in answer.text
        assert "what you typed is still there" in answer.text
        assert organizer.get("/days").status_code == 200
    assert names(database) == []
    assert organizer.post("/days", data=TYPED).status_code == 303


def test_a_strip_over_the_form_tells_it_where_the_page_stays(organizer, data_file):
    with closing(sqlite3.connect(data_file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = organizer.post("/days", data=TYPED, headers={"HX-Request": "true"})
    assert (answer.status_code, answer.headers["HX-Reswap"]) == (503, "afterbegin show:top")
    assert "<html" not in answer.text


def test_a_full_disk_is_told_and_nothing_is_lost(organizer, database, app):
    """The file may not grow: SQLite says so with the words that it has for a full disk."""
    with app.state.database._reading.connect() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar_one()
    full = create_app(app.state.settings, clock=lambda: NOW)
    _hold_to(full.state.database, pages)
    app.state.database, before = full.state.database, app.state.database
    long_name = {**TYPED, "name": "x" * 80}
    answers = [organizer.post("/days", data=long_name).status_code for _ in range(60)]
    assert answers[-1] == 507
    assert set(answers) == {303, 507}
    text = organizer.post("/days", data=long_name).text
    assert "The disk is full, so this was not saved." in text
    saved = names(database)
    assert len(saved) == answers.count(303)
    app.state.database = before
    full.state.database.close()
    assert organizer.post("/days", data=TYPED).status_code == 303


def _hold_to(database: Database, pages: int) -> None:
    event.listen(
        database._reading, "connect", lambda driver, _record: driver.execute(f"pragma max_page_count={pages}")
    )


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("database is locked", LOCKED),
        ("canceling statement due to lock timeout", LOCKED),
        ("database or disk is full", FULL),
        ("could not extend file: No space left on device", FULL),
        ("disk I/O error", FULL),
        ("attempt to write a readonly database", READ_ONLY),
        ("database disk image is malformed", DAMAGED),
        ("file is not a database", DAMAGED),
        ("connection refused", AWAY),
    ],
)
def test_each_failure_is_told_by_what_mends_it(organizer, app, monkeypatch, said, why):
    def fail():
        raise DatabaseFailsError(OperationalError("INSERT", {}, sqlite3.OperationalError(said)))

    monkeypatch.setattr(app.state.database, "write", fail)
    answer = organizer.post("/days", data=TYPED)
    status, sentence = DATABASE_FAILS[why]
    assert answer.status_code == status
    assert sentence in answer.text


def test_a_clock_that_was_set_back_loses_and_reorders_nothing(organizer, database, app):
    with database.write() as session:
        make_day(session, code="tern")
    organizer.post("/days/tern/pilots", data={"line": "Wren R 25"})
    app.state.clock = lambda: NOW - timedelta(hours=3)
    assert organizer.post("/days/tern/pilots", data={"line": "Otter R 25"}).status_code == 303
    page = organizer.get("/days/tern/logbook").text
    assert 0 < page.index("Otter") < page.index("Wren")
    roster = organizer.get("/days/tern/check-in").text
    assert "Otter" in roster
    assert "Wren" in roster
