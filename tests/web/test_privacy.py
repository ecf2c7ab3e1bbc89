"""What is stored, handed out and taken out, on the screen."""

import os
import sqlite3
from pathlib import Path

import pytest

from server.storage import backups, logbook
from server.storage import pilots as stored
from server.storage.session import DatabaseFailsError
from tests.factories import NOW, make_day, make_pilot

SURE = {"sure": "yes"}


@pytest.fixture
def place(data_file):
    """Backups are of a data file, whatever the other tests run on."""
    return data_file


@pytest.fixture
def names(organizer, database) -> str:
    """Wren, 1, and Otter, 2, are on the day."""
    with database.write() as session:
        day = make_day(session, code="tern")
        make_pilot(session, day, "Wren", name="Ida Example")
        make_pilot(session, day, "Otter", spotter="Wren")
    return "/days/tern/names"


def roster(database) -> list[str]:
    with database.read() as session:
        return [pilot.callsign for pilot in stored.of_day(session, 1)]


def test_everybody_can_read_what_is_stored_and_finds_it_from_the_guide(client):
    page = client.get("/privacy")
    assert page.status_code == 200
    assert "for 15 minutes" in page.text
    assert "Nothing leaves that machine" in page.text
    assert 'href="/privacy"' in client.get("/guide").text


def test_a_name_is_taken_out_by_the_director_who_is_sure(organizer, database, names):
    refused = organizer.post(f"{names}/1/erase")
    assert refused.status_code == 422
    assert "tick that you are sure" in refused.text
    assert roster(database) == ["Wren", "Otter"]
    page = organizer.post(f"{names}/1/erase", data=SURE, follow_redirects=True).text
    assert "The name was taken out of this day: a number stands in its place." in page
    assert roster(database) == ["Pilot 1", "Otter"]
    assert "Wren" not in organizer.get(names).text
    assert organizer.post(f"{names}/99/erase", data=SURE).status_code == 404


def test_a_data_file_that_cannot_be_written_anew_is_told_and_the_name_is_out_all_the_same(
    organizer, app, database, names, monkeypatch
):
    def fail():
        raise DatabaseFailsError(sqlite3.OperationalError("database or disk is full"))

    monkeypatch.setattr(app.state.database, "forget", fail)
    answer = organizer.post(f"{names}/1/erase", data=SURE)
    assert answer.status_code == 503
    assert "could not be written anew (database or disk is full)" in answer.text
    assert roster(database) == ["Pilot 1", "Otter"]


def test_a_day_is_archived_without_names(organizer, database, names):
    assert organizer.post(f"{names}/archive").status_code == 422
    page = organizer.post(f"{names}/archive", data=SURE, follow_redirects=True).text
    assert "All names were taken out of this day, and it is archived." in page
    assert roster(database) == ["Pilot 1", "Pilot 2"]
    assert "archived" in organizer.get("/days").text


def test_whoever_has_no_name_any_more_keeps_the_number(organizer, database, names):
    organizer.post(f"{names}/1/erase", data=SURE)
    organizer.post(f"{names}/archive", data=SURE)
    assert roster(database) == ["Pilot 1", "Pilot 2"]
    with database.read() as session:
        assert logbook.of_actions(session, 1, ["pilot erased"])[-1].text == "Took 1 name out of this day."


def test_a_pilot_is_handed_all_that_is_stored(organizer, names):
    answer = organizer.get(f"{names}/1/export")
    assert answer.headers["content-disposition"] == 'attachment; filename="tern-pilot-1.json"'
    assert answer.json()["pilot"]["name"] == "Ida Example"
    assert "Otter" not in answer.text
    assert organizer.get(f"{names}/99/export").status_code == 404


def test_older_backups_are_named_and_removed_by_who_is_sure(organizer, names, tmp_path, data_file):
    folder: Path = tmp_path / "backups"
    backups.make(data_file, folder, 5, NOW)
    replaced = data_file.with_name("bandstand-replaced-20260516-080000.sqlite")
    replaced.touch()
    assert "still hold" not in organizer.get(names).text
    _make_old(NOW.timestamp() - 60, *backups.all_in(folder), replaced)
    organizer.post(f"{names}/1/erase", data=SURE)
    page = organizer.get(names).text
    assert "2 copies of the data file were made before" in page
    assert replaced.name in page
    assert organizer.post(f"{names}/copies").status_code == 422
    assert replaced.exists()
    assert organizer.post(f"{names}/copies", data=SURE).status_code == 303
    assert not replaced.exists()
    assert "still hold" not in organizer.get(names).text


def _make_old(at: float, *files: Path) -> None:
    for file in files:
        os.utime(file, (at, at))


def test_names_are_the_directors_business(client, database):
    with database.write() as session:
        make_pilot(session, make_day(session, code="tern"), "Wren")
    for address in ("/days/tern/names", "/days/tern/names/1/export"):
        assert client.get(address).status_code == 303
    for address in ("1/erase", "archive", "copies"):
        assert client.post(f"/days/tern/names/{address}", data=SURE).status_code == 403
    assert roster(database) == ["Wren"]


def test_a_day_without_pilots_says_so(organizer, database):
    with database.write() as session:
        make_day(session, code="tern")
    assert "No pilot on this day" in organizer.get("/days/tern/names").text
    assert organizer.get("/days/zzzz/names").status_code == 404
