"""A day saved from one machine and brought in on another, from the page of days."""

import json

import pytest

from server.services import day_files
from server.services.errors import NotFoundError
from server.storage import days
from server.storage import pilots as stored
from tests.full_day import full_day


@pytest.fixture
def code(database) -> str:
    with database.write() as session:
        return full_day(session).code


def bring_in(organizer, data: bytes, name: str = "day.json"):
    return organizer.post("/days/import", files={"file": (name, data)})


def test_a_saved_day_is_brought_in_and_what_came_of_it_is_told(organizer, database, code):
    saved = organizer.get(f"/days/{code}/export")
    assert saved.headers["content-disposition"] == (
        'attachment; filename="tern-meadow-club-day-2026-05-16.bandstand.json"'
    )
    assert saved.headers["cache-control"] == "no-store"
    answer = bring_in(organizer, saved.content)
    new_code = answer.headers["location"].removeprefix("/days?brought=")
    page = organizer.get(answer.headers["location"]).text
    assert f"Another day here has the code {code}, so this one has {new_code}" in page
    for address in (
        f"/days/{new_code}/{tab}" for tab in ("check-in", "plan", "line", "heat-sheet", "site", "logbook")
    ):
        assert organizer.get(address).status_code == 200, address
    assert organizer.get(f"/board/{new_code}").status_code == 200
    with database.read() as session:
        links = [one.link_token for one in stored.of_day(session, days.by_code(session, new_code).id)]
    assert [organizer.get(f"/slot/{link}").status_code for link in links] == [200] * 4


def test_a_file_that_cannot_be_brought_in_is_told_beside_its_field(organizer, database):
    answer = bring_in(organizer, b"hello", "<b>songs.json")
    assert answer.status_code == 422
    assert (
        "“&lt;b&gt;songs.json” is no field day of Bandstand, or only a part of one: it is not JSON"
        in answer.text
    )
    assert 'aria-describedby="file-error' in answer.text
    assert "Choose the file of a day first." in organizer.post("/days/import").text
    assert "Choose the file of a day first." in bring_in(organizer, b"", "").text
    with database.read() as session:
        assert days.newest_first(session) == []


def test_a_day_larger_than_any_other_upload_is_taken_and_no_endless_one(organizer, database, code, settings):
    with database.read() as session:
        content = day_files.export(session, code)
    padded = content + b" " * (settings.body_limit_kib * 1024)
    assert bring_in(organizer, padded).status_code == 303
    assert bring_in(organizer, b" " * (66 * 2**20)).status_code == 413
    assert (
        organizer.post("/days", data={"name": "x" * (settings.body_limit_kib * 1024 + 1)}).status_code == 413
    )


def test_only_the_organizer_saves_and_brings_in(client, code, database):
    assert client.get(f"/days/{code}/export").headers["location"].startswith("/sign-in?")
    assert bring_in(client, b"{}").status_code == 403


def test_a_day_that_is_not_here_cannot_be_saved(organizer, database):
    assert organizer.get("/days/zzzz/export").status_code == 404
    with pytest.raises(NotFoundError), database.read() as session:
        day_files.export(session, "zzzz")


def test_an_address_that_tells_of_no_day_brought_in_tells_nothing(organizer, code):
    for odd in (code, "zzzz", "<b>"):
        page = organizer.get("/days", params={"brought": odd}).text
        assert "Brought in" not in page
        assert "<b>" not in page


def test_the_saved_file_is_what_the_command_writes(organizer, database, code):
    with database.read() as session:
        assert organizer.get(f"/days/{code}/export").content == day_files.export(session, code)
    assert json.loads(organizer.get(f"/days/{code}/export").text)["version"] == 1
