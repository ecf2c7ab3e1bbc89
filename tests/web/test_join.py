"""A pilot checks in by phone: open to everybody, the same pilot however often it is sent, few at once."""

import html
import re
from datetime import timedelta

import pytest

from server.services import days, joins, pilots
from server.storage import logbook
from server.storage import pilots as stored
from server.storage.tables import WITHDRAWN
from tests.factories import NOW, make_day, make_pilot

ADDRESS = "/join/tern"
ID = "phone-made-id-0001"
FORM = {
    "join_id": ID,
    "callsign": "Wren",
    "gear": "R only",
    "mw-25": "yes",
    "mw-600": "yes",
    "antenna": "lhcp",
}


@pytest.fixture
def day(database):
    with database.write() as session:
        return make_day(session, code="tern")


@pytest.fixture
def phone(client, day):
    return client


def roster(database):
    with database.read() as session:
        return stored.of_day(session, 1)


def main_aircraft(database):
    with database.read() as session:
        return stored.aircraft_of(session, roster(database)[0].id)[0]


def text_of(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_everybody_can_open_the_form_and_gets_no_cookie(phone):
    answer = phone.get(ADDRESS)
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers
    assert "What is kept" in answer.text


@pytest.mark.parametrize("address", ["/join/TERN", "/join/Tern", "/join/%20tern%20"])
def test_the_code_may_be_typed_in_capitals_and_with_spaces(phone, database, address):
    assert 'data-code="tern"' in phone.get(address).text
    assert phone.post(address, data=FORM).headers["Location"].startswith("/join/tern?me=")
    assert len(roster(database)) == 1


def test_a_pilot_is_on_the_roster_with_a_channel_and_a_link(phone, database):
    answer = phone.post(ADDRESS, data=FORM)
    assert (answer.status_code, answer.headers["Location"]) == (303, f"{ADDRESS}?me={ID}")
    (wren,) = roster(database)
    main = main_aircraft(database)
    assert (main.tunes, main.power_mw, main.antenna) == ("R", "25 600", "lhcp")
    page = phone.get(answer.headers["Location"])
    assert str(wren.provisional_mhz) in page.text
    assert f'href="/slot/{wren.link_token}"' in page.text
    assert "Band R, 8 channels" in page.text
    assert phone.get(f"/slot/{wren.link_token}").status_code == 200


def test_the_logbook_says_that_the_pilot_did_it(phone, database):
    phone.post(ADDRESS, data=FORM | {"name": "Maxi"})
    with database.read() as session:
        entry = logbook.newest_first(session, 1, 1)[0]
    assert (entry.who, entry.action) == ("pilot", "pilot added")
    assert "Maxi" not in entry.text + entry.data_json


def test_what_is_sent_again_is_the_same_pilot(phone, database):
    first = phone.post(ADDRESS, data=FORM)
    again = phone.post(ADDRESS, data=FORM | {"callsign": "Wren typed otherwise"})
    assert again.headers["Location"] == first.headers["Location"]
    assert [pilot.callsign for pilot in roster(database)] == ["Wren"]


def test_a_form_without_script_has_an_id_of_its_own(phone, database):
    form_id = re.search(r'name="join_id" value="([^"]+)"', phone.get(ADDRESS).text)[1]
    phone.post(ADDRESS, data=FORM | {"join_id": form_id})
    phone.post(ADDRESS, data=FORM | {"join_id": form_id})
    assert [pilot.join_id for pilot in roster(database)] == [form_id]


@pytest.mark.parametrize("join_id", ["", "short", "x" * 65, "<script>alert(1)</script>"])
def test_an_id_that_no_phone_made_is_replaced(phone, database, join_id):
    phone.post(ADDRESS, data=FORM | {"join_id": join_id})
    assert re.fullmatch(r"[\w-]{22}", roster(database)[0].join_id)


def test_the_same_id_on_another_day_is_another_pilot(phone, database):
    with database.write() as session:
        make_day(session, code="moor")
    assert phone.post(ADDRESS, data=FORM).status_code == 303
    assert phone.post("/join/moor", data=FORM).status_code == 303
    assert len(roster(database)) == 1


def test_nothing_but_the_fields_of_the_form_is_taken(phone, database):
    phone.post(
        ADDRESS, data=FORM | {"pin": "R1", "note": "x", "heat": "1", "station_id": "x", "state": WITHDRAWN}
    )
    (wren,) = roster(database)
    assert (wren.pin, wren.note, wren.heat, wren.station_id, wren.state) == ("", "", None, "", "checked in")


@pytest.mark.parametrize(
    ("changed", "tunes", "power_mw"),
    [
        ({"gear": "don't know", "mw-25": "", "mw-600": ""}, "?", "?"),
        ({"gear": "all bands"}, "A B E F R", "25 600"),
        ({"gear": "one channel", "tunes": "5:3"}, "5:3", "25 600"),
        ({"gear": "all bands", "tunes": "abf"}, "A B F", "25 600"),  # what is typed wins
        ({"power_mw": "1W"}, "R", "25 600 1000"),
    ],
)
def test_gear_chosen_or_typed(phone, database, changed, tunes, power_mw):
    assert phone.post(ADDRESS, data=FORM | changed).status_code == 303
    assert (main_aircraft(database).tunes, main_aircraft(database).power_mw) == (tunes, power_mw)


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"callsign": ""}, "callsign", "A callsign is missing"),
        ({"gear": ""}, "tunes", "Nothing is chosen: choose one of these"),
        ({"gear": "one channel"}, "tunes", "The channel is missing: type it under “Or exactly”"),
        ({"tunes": "R9"}, "tunes", "write R1 to R8"),
        ({"power_mw": "lots"}, "power_mw", "“lots” is not a power in mW"),
        ({"receives": "A"}, "receives", "Wren's goggles cannot show any channel that Wren's transmitter has"),
        ({"name": "x" * 500}, "name", "shorten it to 400 characters"),
    ],
)
def test_a_fault_is_told_under_its_field_and_nothing_typed_is_lost(phone, database, changed, field, says):
    answer = phone.post(ADDRESS, data=FORM | {"spotter": "Ann"} | changed)
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    assert says in html.unescape(answer.text)
    assert 'name="spotter" type="text" value="Ann"' in answer.text
    assert 'name="mw-600" value="yes" checked' in answer.text
    assert f'value="{ID}"' in answer.text
    assert roster(database) == []


def test_a_taken_callsign_does_not_give_another_pilot_s_link_away(phone, database, day):
    with database.write() as session:
        make_pilot(session, day, "Wren", link_token="secret-link")
    answer = phone.post(ADDRESS, data=FORM | {"callsign": "wren"})
    assert answer.status_code == 422
    assert "ask at the desk for your link" in answer.text
    assert "secret-link" not in answer.text


def test_an_id_that_never_arrived_shows_the_form_again(phone):
    answer = phone.get(ADDRESS, params={"me": "never-arrived-0000"})
    assert answer.status_code == 404
    assert "Fill in the form again." in answer.text
    assert 'id="join-form"' in answer.text


def test_a_flood_is_stopped_and_lets_people_in_again_later(app, phone, database, monkeypatch):
    monkeypatch.setattr(joins, "MOST_AT_ONCE", 2)
    for number in range(2):
        sent = FORM | {"join_id": f"{ID}{number}", "callsign": f"Wren{number}"}
        assert phone.post(ADDRESS, data=sent).status_code == 303
    late = FORM | {"callsign": "Late", "spotter": "Ann"}
    answer = phone.post(ADDRESS, data=late)
    assert answer.status_code == 429
    assert "What you typed is kept" in answer.text
    assert 'value="Ann"' in answer.text
    assert phone.post(ADDRESS, data=FORM | {"join_id": f"{ID}0"}).status_code == 303  # who is in stays in
    app.state.clock = lambda: NOW + joins.COUNTED_FOR + timedelta(seconds=1)
    assert phone.post(ADDRESS, data=late).status_code == 303


def test_pilots_of_the_desk_do_not_count_as_a_flood(phone, database, monkeypatch, day):
    monkeypatch.setattr(joins, "MOST_AT_ONCE", 1)
    with database.write() as session:
        make_pilot(session, day, "Otter")
    assert phone.post(ADDRESS, data=FORM).status_code == 303


def test_a_day_that_is_over_takes_nobody_and_says_so(phone, database):
    with database.write() as session:
        days.archive(session, "tern", NOW)
    assert "This field day is over" in phone.get(ADDRESS).text
    assert phone.post(ADDRESS, data=FORM).status_code == 422
    assert roster(database) == []


def test_a_day_that_is_not_there_is_not_found(phone):
    assert phone.get("/join/nope").status_code == 404
    assert phone.post("/join/nope", data=FORM).status_code == 404


def test_who_was_withdrawn_is_told_to_ask_the_desk(phone, database):
    phone.post(ADDRESS, data=FORM)
    with database.write() as session:
        day = days.day_with(session, "tern")
        pilots.set_state(session, day, stored.of_day(session, day.id)[0], WITHDRAWN, "desk", NOW)
    page = text_of(phone.get(ADDRESS, params={"me": ID}).text)
    assert "Tell the desk if you are here and want to fly." in page
    assert "Set your transmitter" not in page


def test_markup_typed_on_a_phone_is_shown_as_text(phone):
    hostile = '"><script>alert(1)</script>'
    assert hostile not in phone.post(ADDRESS, data=FORM | {"callsign": hostile, "tunes": "Q"}).text
    phone.post(ADDRESS, data=FORM | {"callsign": "<b>Wren", "spotter": "<i>Ann"})
    page = phone.get(ADDRESS, params={"me": ID}).text
    assert "<b>Wren" not in page
    assert "<i>Ann" not in page


def test_a_post_from_another_site_is_refused(phone, database):
    answer = phone.post(ADDRESS, data=FORM, headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403
    assert roster(database) == []


def test_every_page_names_what_is_assumed_of_unknown_channels(phone, director):
    assert "A B F is assumed until somebody looks" in text_of(phone.get(ADDRESS).text)
    assert "A B F and 25 mW are taken" in text_of(director.get("/days/tern/check-in").text)


def test_what_nobody_knows_is_said_once(phone):
    form = FORM | {"gear": "don't know", "mw-25": "", "mw-600": ""}
    text = text_of(phone.post(ADDRESS, data=form, follow_redirects=True).text)
    assert "Channels not known: A B F taken Power not known: 25 mW taken" in text
    assert text.casefold().count("not known") == 2
