"""The list of field days, and the form that makes one."""

import pytest

from server.storage import days
from tests.factories import NOW, make_day

TYPED = {"name": "Tern Meadow club day", "date": "2026-05-16", "time_zone": "Europe/Dublin"}


def all_days(database):
    with database.read() as session:
        return days.newest_first(session)


def test_the_first_start_says_what_to_do_next(organizer):
    page = organizer.get("/days")
    assert page.status_code == 200
    assert "No field day yet" in page.text
    assert page.text.count("button--primary") == 1
    assert 'value="2026-05-16"' in page.text  # the factories' NOW, so that only a name is left to type


def test_a_made_day_opens_at_its_site(organizer, database):
    answer = organizer.post("/days", data=TYPED)
    (day,) = all_days(database)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/days/{day.code}/site"
    assert (day.name, day.date.isoformat(), day.time_zone) == tuple(TYPED.values())


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("name", "", "Name the field day"),
        ("date", "16.5.2026", "“16.5.2026” is not a date"),
        ("date", "2026-13-01", "The calendar has no 2026-13-01"),
        ("time_zone", "Europe/Dubin", "such as Europe/Dublin"),
        ("time_zone", "<b>here</b>", "“&lt;b&gt;here&lt;/b&gt;” is not a known time zone"),
    ],
)
def test_a_day_that_cannot_be_made_keeps_what_was_typed(organizer, database, field, text, words):
    answer = organizer.post("/days", data={**TYPED, field: text})
    assert answer.status_code == 422
    assert words in answer.text
    kept = {**TYPED, field: text.replace("<", "&lt;").replace(">", "&gt;")}
    assert all(f'value="{value}"' in answer.text for value in kept.values())
    assert all_days(database) == []


def test_days_are_listed_with_what_they_are_now(organizer, database):
    with database.write() as session:
        make_day(session, name="Hall evening", archived_at=NOW)
        make_day(session, name="Tern Meadow club day")
    text = organizer.get("/days").text
    assert "archived" in text
    assert "on the board now" in text
    assert "Saturday, 16 May 2026" in text


def test_a_day_is_archived_and_brought_back(organizer, database):
    with database.write() as session:
        code = make_day(session).code
    assert organizer.post(f"/days/{code}/archive").status_code == 303
    assert all_days(database)[0].archived_at == NOW
    assert organizer.post(f"/days/{code}/bring-back").status_code == 303
    assert all_days(database)[0].archived_at is None


@pytest.mark.parametrize("address", ["/days/zzzz/archive", "/days/zzzz/bring-back"])
def test_a_day_that_does_not_exist_cannot_be_put_away(organizer, address):
    assert organizer.post(address).status_code == 404


def test_the_address_of_a_day_leads_to_its_check_in(organizer, database):
    with database.write() as session:
        code = make_day(session).code
    assert organizer.get(f"/days/{code}").headers["location"] == f"/days/{code}/check-in"
    assert organizer.get("/days/zzzz").status_code == 404


def test_strangers_see_no_days_and_make_none(client, database):
    assert client.get("/days").headers["location"] == "/sign-in?next=/days"
    assert client.post("/days", data=TYPED).status_code == 403
    assert all_days(database) == []


@pytest.mark.parametrize("address", ["/days", "/people"])
def test_everybody_land_is_on_pages_of_no_day_too_for_the_day_on_the_board(organizer, database, address):
    assert "everybody-land-now" not in organizer.get(address).text
    with database.write() as session:
        make_day(session, code="heron")
        make_day(session, code="tern")
    assert 'action="/days/tern/line/everybody-land"' in organizer.get(address).text
