"""EVERYBODY LAND on pages that are no day's: for whoever is signed in, and for nobody else."""

import sqlite3

import pytest

from server.storage import clubs
from server.storage.session import DatabaseFailsError
from tests.factories import NOW, make_day, make_pilot

ON_TERN = 'action="/days/tern/line/everybody-land"'
OUTSIDE_A_DAY = ["/guide", "/privacy", "/nowhere", "/days/tern/site/files/none", "/days/none/logbook"]


@pytest.fixture
def day(database):
    with database.write() as session:
        return make_day(session, code="tern")


@pytest.mark.parametrize("address", OUTSIDE_A_DAY)
def test_whoever_is_signed_in_can_press_it_there(helper, day, address):
    text = helper.get(address).text
    assert ON_TERN in text
    assert "everybody_land.js" in text


def test_it_is_on_the_page_that_refuses_a_helper(helper, day):
    answer = helper.get("/days/tern/logbook")
    assert answer.status_code == 403
    assert ON_TERN in answer.text


def test_the_director_can_lift_it_there_and_a_helper_cannot(director, day):
    assert "/days/tern/line/lift" in director.get("/guide").text


def test_a_helper_cannot_lift_it_there(helper, day):
    assert "/days/tern/line/lift" not in helper.get("/guide").text


def test_it_is_over_both_versions_of_a_form(director, day):
    director.post("/days/tern/line/everybody-land")
    answer = director.post("/days/tern/line/lift", data={"was_since": "long ago"})
    assert answer.status_code == 409
    assert ON_TERN in answer.text


def test_the_day_of_the_address_comes_before_the_clubs_current_one(helper, day, database):
    with database.write() as session:
        make_day(session, code="wren")
    assert ON_TERN in helper.get("/days/tern/logbook").text
    assert 'action="/days/wren/line/everybody-land"' in helper.get("/guide").text


def test_another_clubs_day_is_never_meant(helper, database):
    with database.write() as session:
        make_day(session, code="tern", club_id=clubs.add(session, "Curlew Moor", NOW).id)
    assert "everybody-land" not in helper.get("/board/tern/none").text


@pytest.mark.parametrize("address", OUTSIDE_A_DAY)
def test_strangers_see_none_of_it(client, day, address):
    assert "everybody-land" not in client.get(address).text


def test_board_and_my_slot_are_the_same_for_whoever_is_signed_in(helper, client, day, database):
    with database.write() as session:
        wren = make_pilot(session, day, "Wren")
    addresses = ("/board/tern", f"/slot/{wren.link_token}")
    signed_in = [helper.get(address).content for address in addresses]
    client.cookies.clear()
    assert [client.get(address).content for address in addresses] == signed_in


def test_a_database_that_fails_hides_no_error(helper, day, app, monkeypatch):
    def fail(*_):
        raise DatabaseFailsError(sqlite3.OperationalError("unable to open database file"))

    monkeypatch.setattr(app.state.database, "read", fail)
    assert helper.get("/nowhere").status_code == 404
