"""Open flying by its addresses: the desk, the pilot's phone, the public board."""

import re

import pytest

from server.services import turns
from server.storage import turns as stored
from tests.factories import NOW, make_day, make_pilot
from tests.services.planned_days import SETTINGS


@pytest.fixture
def field(database):
    """A day that may publish, two places, three pilots."""
    with database.write() as session:
        day = make_day(session, aircraft=2, **SETTINGS)
        pilots = [
            make_pilot(session, day, name, name=f"Private {name}") for name in ("Wren", "Otter", "Rook")
        ]
    return day, *pilots


@pytest.fixture
def opened(field, director):
    day, *_ = field
    answer = director.post(f"/days/{day.code}/open-flying", data={"state": "open"})
    assert answer.status_code == 303
    return field


def ask(client, pilot):
    return client.post(f"/slot/{pilot.link_token}/ask")


def live(database, day):
    with database.read() as session:
        return stored.live(session, day.id)


def button(page, words):
    """Address and hidden fields of the form with this button."""
    for form in re.findall(r"<form[^>]*>.*?</form>", page, re.S):
        if re.search(rf">\s*{re.escape(words)}\s*</button>", form):
            action = re.search(r'action="([^"]+)"', form)[1]
            return action, dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))
    raise AssertionError(f"no button says {words}")


def press(client, page, words):
    action, hidden = button(page, words)
    return client.post(action, data=hidden)


def test_the_desk_says_what_to_do_while_it_is_closed(director, field):
    page = director.get(f"/days/{field[0].code}/open-flying").text
    assert "Open flying is closed" in page
    assert "Start open flying" in page


def test_without_rules_the_desk_says_what_is_missing(director, database):
    with database.write() as session:
        day = make_day(session)
    assert "No rules are chosen" in director.get(f"/days/{day.code}/open-flying").text
    answer = director.post(f"/days/{day.code}/open-flying", data={"state": "open"})
    assert answer.status_code == 422
    assert "No rules are chosen" in answer.text


def test_a_phone_asks_and_is_told_channel_and_word(client, opened):
    _, wren, *_ = opened
    page = client.get(f"/slot/{wren.link_token}").text
    assert "Ask to fly" in page
    assert ask(client, wren).headers["Location"] == f"/slot/{wren.link_token}"
    page = client.get(f"/slot/{wren.link_token}").text
    assert "READY" in page
    assert "Place 1" in page
    assert "Ask to fly" not in page


def test_a_phone_goes_through_a_whole_turn(client, opened, database):
    day, wren, *_ = opened
    ask(client, wren)
    (turn,) = live(database, day)
    at = f"/slot/{wren.link_token}"
    press(client, client.get(at).text, f"My transmitter is set to R1 {turn.mhz}")
    assert "POWER UP" in client.get(at).text
    press(client, client.get(at).text, "Picture is clear")
    assert ">FLY<" in client.get(at).text
    press(client, client.get(at).text, "I have landed and powered off")
    assert "Ask to fly" in client.get(at).text
    assert live(database, day) == []


def test_the_queue_is_shown_to_who_is_in_it(client, opened):
    _, wren, otter, rook = opened
    for pilot in (wren, otter, rook):
        ask(client, pilot)
    page = client.get(f"/slot/{rook.link_token}").text
    assert "You are 1st of 1 in the queue" in page
    assert "STAY OFF" in page
    press(client, page, "Leave the queue")
    assert "Ask to fly" in client.get(f"/slot/{rook.link_token}").text


def test_before_it_is_open_a_phone_has_no_button_and_is_refused(client, field):
    _, wren, *_ = field
    assert "Ask to fly" not in client.get(f"/slot/{wren.link_token}").text
    answer = ask(client, wren)
    assert answer.status_code == 422
    assert "Open flying is closed" in answer.text


def test_an_old_page_is_told_that_it_was_overtaken(client, opened):
    _, wren, *_ = opened
    ask(client, wren)
    old = client.get(f"/slot/{wren.link_token}").text
    press(client, old, "Give the place back")
    answer = press(client, old, "Give the place back")
    assert answer.status_code == 409
    assert "Wren gave the place back already" in answer.text
    assert "Ask to fly" in answer.text


def test_nobody_presses_for_somebody_else(client, opened, database):
    day, wren, otter, _ = opened
    ask(client, wren)
    (turn,) = live(database, day)
    answer = client.post(f"/slot/{otter.link_token}/turns/{turn.id}/off", data={"seen": turn.seen})
    assert answer.status_code == 404
    assert client.post("/slot/nobody/ask").status_code == 404


def test_what_is_the_desks_is_not_on_the_phone(client, opened, database):
    day, wren, *_ = opened
    ask(client, wren)
    (turn,) = live(database, day)
    answer = client.post(f"/slot/{wren.link_token}/turns/{turn.id}/up", data={"seen": turn.seen})
    assert answer.status_code == 404


def test_the_desk_does_it_all_in_one_line(director, opened, database):
    day, *_ = opened
    at = f"/days/{day.code}/open-flying"
    for line in ("wren", "wren set", "wren clear"):
        assert director.post(f"{at}/line", data={"line": line}).status_code == 303
    assert [turn.stage for turn in live(database, day)] == ["flying"]


def test_a_line_that_cannot_be_done_stays_with_its_reason(director, opened):
    answer = director.post(f"/days/{opened[0].code}/open-flying/line", data={"line": "Zorro"})
    assert answer.status_code == 422
    assert 'value="Zorro"' in answer.text
    assert "Nobody called Zorro is on the roster" in answer.text


def test_the_desk_seats_unseats_and_undoes(director, opened, database):
    day, wren, *_ = opened
    ask(director, wren)
    at = f"/days/{day.code}/open-flying"
    press(director, director.get(at).text, "Take the place back")
    assert live(database, day) == []
    page = director.get(at).text
    assert "Wren was taken off" in page
    press(director, page, "Undo: Wren is back")
    assert [turn.stage for turn in live(database, day)] == ["ready"]


def test_an_undo_that_comes_too_late_is_told(director, opened, database):
    day, wren, *_ = opened
    ask(director, wren)
    at = f"/days/{day.code}/open-flying"
    press(director, director.get(at).text, "Take the place back")
    page = director.get(at).text
    press(director, page, "Undo: Wren is back")
    answer = press(director, page, "Undo: Wren is back")
    assert answer.status_code == 409
    assert "Wren is back already" in answer.text


def test_the_desk_opens_for_the_pits_and_closes(director, field, database):
    day, *_ = field
    at = f"/days/{day.code}/open-flying"
    director.post(at, data={"state": "open", "beside": "yes"})
    with database.read() as session:
        assert stored.open_flying_of(session, day.id).may_power_up_beside
    director.post(at, data={"state": "closed"})
    with database.read() as session:
        assert not stored.open_flying_of(session, day.id).is_open


def test_the_board_shows_places_and_queue_by_callsign_alone(client, opened):
    day, *pilots = opened
    for pilot in pilots:
        ask(client, pilot)
    page = client.get(f"/board/{day.code}").text
    assert page.count("getting ready") == 2
    assert "In the queue" in page
    assert "Private" not in page


def test_the_desks_state_can_be_polled_and_is_not_sent_twice(director, opened):
    at = f"/days/{opened[0].code}/open-flying/state"
    first = director.get(at)
    assert "Who holds what" in first.json()["html"]
    assert director.get(at, headers={"If-None-Match": first.headers["ETag"]}).status_code == 304


def test_a_nudge_stands_on_the_phone_and_at_the_desk(director, opened, database):
    day, wren, *_ = opened
    ask(director, wren)
    with database.write() as session:
        turns.turn_of(session, day, 1).nudged_at = NOW
    assert "You have had the place for ten minutes" in director.get(f"/slot/{wren.link_token}").text
    assert "Ten minutes on this place" in director.get(f"/days/{day.code}/open-flying").text


def test_every_page_says_whose_voice_outranks_it(director, opened):
    day, wren, *_ = opened
    for at in (f"/days/{day.code}/open-flying", f"/slot/{wren.link_token}", f"/board/{day.code}"):
        assert "The director's voice outranks every screen" in director.get(at).text.replace("&#39;", "'")
