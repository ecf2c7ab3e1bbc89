"""Turns held by somebody who is on unasked, by their addresses: they go on in the press that notes it as off."""

import html

import pytest

from server.services import call_slots, calls, days, open_flying, pilots, turns, unasked
from server.services import clearances as clearance_services
from server.storage import clearances
from server.storage import turns as stored
from tests.factories import NOW, make_day, make_pilot
from tests.services.called_days import call_heat, place, press, stages
from tests.services.changed_days import happen, id_of, published_day
from tests.services.planned_days import SETTINGS


@pytest.fixture
def opened(database):
    """Open flying, Rook on in the pits unasked, Wren with a place and its channel set."""
    with database.write() as session:
        day = make_day(session, code="tern", aircraft=2, **SETTINGS)
        rook, wren = make_pilot(session, day, "Rook"), make_pilot(session, day, "Wren")
        open_flying.open_up(session, day, False, "director", NOW)
        unasked.note(session, day, rook, "pits", "director", NOW)
        turn = turns.ask(session, day, wren, "pilot", NOW)
        turns.act(session, day, turn, turn.seen, "set", "pilot", NOW)
    return day


@pytest.fixture
def called(database):
    """Heat 1: Wren's picture is clear, Rook is on in the pits unasked, so Otter's turn is held."""
    with database.write() as session:
        day = published_day(session, code="tern")
        call_heat(session, day, 1)
        rook = pilots.pilot_of(session, day, id_of(session, day, "Rook"))
        call_slots.found_on(session, day, rook, "pits", "director", NOW)
        press(session, day, "Wren", "picture is clear")
    return day


def link(database, day, callsign):
    with database.read() as session:
        return f"/slot/{pilots.pilot_of(session, day, id_of(session, day, callsign)).link_token}"


def off(database, day, client):
    """Rook presses It is off on the own phone."""
    with database.read() as session:
        (one,) = clearances.live(session, day.id)
    at = f"{link(database, day, 'Rook')}/clearances/{one.id}/off"
    return client.post(at, data={"seen": one.seen})


def told(client, path):
    return html.unescape(client.get(path).text)


def test_open_flying_goes_on_in_the_press_of_the_pilots_phone(database, opened, client):
    wren = link(database, opened, "Wren")
    assert "Rook is on, unasked: Wren powers up once that is off." in told(client, wren)
    assert off(database, opened, client).status_code == 303
    with database.read() as session:
        assert [one.stage for one in stored.live(session, opened.id)] == ["power up"]


def test_a_call_goes_on_in_the_press_of_the_pilots_phone(database, called, client):
    with database.read() as session:
        assert stages(session, days.day_with(session, "tern"))["Otter"] == "waiting"
    off(database, called, client)
    with database.read() as session:
        assert stages(session, days.day_with(session, "tern"))["Otter"] == "power up"


def test_a_turn_goes_on_in_the_press_at_the_flight_line(database, opened, director):
    with database.read() as session:
        (one,) = clearances.live(session, opened.id)
    director.post(f"/days/tern/line/clearances/{one.id}/off", data={"seen": one.seen})
    with database.read() as session:
        assert [one.stage for one in stored.live(session, opened.id)] == ["power up"]


TOO_MANY = "Behind the hill. " * 13


def test_the_flight_line_overrides_a_held_turn_in_words_and_keeps_those_that_are_too_many(
    database, called, director
):
    page = told(director, "/days/tern/line")
    assert "Cannot be reached? Let Otter power up, in words" in page
    with database.read() as session:
        slot = place(session, days.day_with(session, "tern"), "Otter")
    at = f"/days/tern/line/slots/{slot.id}/turn-overridden"
    answer = director.post(at, data={"seen": slot.seen, "callsign": "Otter", "words": TOO_MANY})
    assert answer.status_code == 422
    again = html.unescape(answer.text).partition('<div id="live">')[0]  # messages replace what is below
    assert f'action="{at}"' in again
    assert f'value="{TOO_MANY}"' in again
    assert "takes 200 letters here" in again
    sent = {"seen": slot.seen, "words": "Behind the hill."}
    assert director.post(at, data=sent).status_code == 303
    page = told(director, "/days/tern/line")
    assert "Cannot be reached?" not in page
    assert "is on, unasked" in page


def test_open_flying_overrides_a_held_turn_in_words_and_keeps_those_that_are_too_many(
    database, opened, director
):
    desk = "/days/tern/open-flying"
    assert "Cannot be reached? Let Wren power up, in words" in told(director, desk)
    with database.read() as session:
        (turn,) = stored.live(session, opened.id)
    at = f"{desk}/turns/{turn.id}/override"
    answer = director.post(at, data={"seen": turn.seen, "words": TOO_MANY})
    assert answer.status_code == 422
    again = html.unescape(answer.text).partition('<div id="live">')[0]
    assert f'action="{at}"' in again
    assert f'value="{TOO_MANY}"' in again
    assert "takes 200 letters here" in again
    assert director.post(at, data={"seen": turn.seen, "words": "Behind the hill."}).status_code == 303
    page = told(director, desk)
    assert "Cannot be reached?" not in page
    assert "Rook is on outside a call" in page


def test_a_clearance_overridden_in_too_many_words_keeps_them(database, called, director):
    with database.write() as session:
        day = days.day_with(session, "tern")
        quill = pilots.pilot_of(session, day, id_of(session, day, "Quill"))
        one = clearance_services.ask(session, day, quill, "bench check", "pilot", NOW)
    sent = {"seen": one.seen, "callsign": "Quill", "words": TOO_MANY}
    answer = director.post(f"/days/tern/line/clearances/{one.id}/override", data=sent)
    assert answer.status_code == 422
    assert html.unescape(answer.text).count(f'value="{TOO_MANY}"') == 1


def test_a_heat_called_in_too_many_words_keeps_them_and_is_not_called(database, director):
    with database.write() as session:
        day = published_day(session, code="tern")
        seen = calls.seen_of(session, day)
        happen(session, day, "down", pilot=id_of(session, day, "Otter"))
    answer = director.post("/days/tern/line/call", data={"heats": "1", "seen": seen, "override": TOO_MANY})
    assert answer.status_code == 422
    assert f'value="{TOO_MANY}"' in html.unescape(answer.text)
    assert "takes 200 letters here, and these are 220" in answer.text
