"""The flight line by its addresses: the director's page, the pilot's phone, every other page."""

import re

import pytest

from server.services import calls, pilots
from server.storage import calls as stored
from server.storage import clearances
from server.storage.tables import FieldDay
from tests.factories import NOW, make_day
from tests.services.called_days import place
from tests.services.changed_days import happen, id_of, published_day
from tests.services.planned_days import day_with_pilots


@pytest.fixture
def day(database) -> FieldDay:
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    with database.write() as session:
        return published_day(session, code="tern")


@pytest.fixture
def line(director, day):
    """Presses at the flight line by the end of their address."""

    def press(end: str, **form: str):
        return director.post(f"/days/tern/line/{end}", data=form)

    return press


def page(client):
    return client.get("/days/tern/line").text


def primary(text: str) -> tuple[str, str, dict[str, str]]:
    """What the one key says, where it goes, and what it sends."""
    form = next(one for one in re.findall(r"<form.*?</form>", text, re.S) if 'aria-keyshortcuts="n"' in one)
    words = re.search(r">([^<]+)</button>", form)[1].strip()
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))
    return words, re.search(r'action="([^"]+)"', form)[1], fields


def next_step(director) -> str:
    """Press the one key once; what it said."""
    words, action, fields = primary(page(director))
    assert director.post(action, data=fields).status_code == 303
    return words


def seen(database, day):
    with database.read() as session:
        return calls.seen_of(session, day)


def token(database, day, callsign):
    with database.read() as session:
        return pilots.pilot_of(session, day, id_of(session, day, callsign)).link_token


def test_the_one_key_sees_a_heat_through_and_says_each_time_what_it_does(director, day, database):
    said = [next_step(director) for _ in range(7)]
    assert said == [
        "Call heat 1",
        "Wren: picture is clear",
        "Otter: picture is clear",
        "Release heat 1: Wren, Otter",
        "Land heat 1",
        "Landed: Wren, Otter",
        "Wren, Otter off. Heat 1 is over, counts as flown",
    ]
    assert primary(page(director))[0] == "Call heat 2"
    with database.read() as session:
        assert sorted(stored.flights(session, day.id).values()) == [1, 1]


def test_the_page_has_the_line_to_read_out(director, day):
    assert "Heat 1: Wren R1 5658, Otter R2 5695; power up one at a time, Wren first." in page(
        director
    ).replace("\N{NO-BREAK SPACE}", " ")


def test_without_a_plan_it_says_what_to_do(director, database):
    with database.write() as session:
        day_with_pilots(session, code="tern")
    text = page(director)
    assert "No plan is published yet" in text
    assert 'aria-keyshortcuts="n"' not in text


def test_of_two_directors_pressing_at_once_the_second_is_told(line, day, database):
    was = seen(database, day)
    assert line("call", heats="1", seen=was).status_code == 303
    answer = line("call", heats="1", seen=was)
    assert answer.status_code == 409
    assert "Somebody was faster: Heat 1 is powering up now" in answer.text


def test_what_was_typed_stays_where_it_is_refused(line, day, database):
    answer = line("call", heats="4 x", seen=seen(database, day), override="Because of the wind.")
    assert answer.status_code == 422
    assert 'value="4 x"' in answer.text
    assert 'value="Because of the wind."' in answer.text
    assert "Write numbers of heats" in answer.text


def test_some_pilots_of_a_heat_are_called(line, day, database):
    with database.read() as session:
        otter = id_of(session, day, "Otter")
    assert line("call", heats="1", seen=seen(database, day), **{f"pilot_{otter}": "yes"}).status_code == 303
    with database.read() as session:
        slots = stored.slots_of(session, stored.live(session, day.id).id)
    assert [one.callsign for one in slots] == ["Otter"]


def test_a_phone_says_that_the_picture_is_clear_and_the_next_one_powers_up(client, line, day, database):
    line("call", heats="1", seen=seen(database, day))
    wren, otter = token(database, day, "Wren"), token(database, day, "Otter")
    text = client.get(f"/slot/{wren}").text
    assert "POWER UP" in text
    form = re.search(r'action="(/slot/[^"]+/call/\d+/picture-is-clear)".*?value="([^"]+)"', text, re.S)
    assert client.post(form[1], data={"seen": form[2]}).status_code == 303
    assert "POWER UP" in client.get(f"/slot/{otter}").text
    assert client.post(form[1], data={"seen": form[2]}).status_code == 409


def test_a_phone_cannot_press_for_another_pilot(client, line, day, database):
    line("call", heats="1", seen=seen(database, day))
    with database.read() as session:
        slot = place(session, day, "Wren")
    otter = token(database, day, "Otter")
    at = f"/slot/{otter}/call/{slot.id}/picture-is-clear"
    assert client.post(at, data={"seen": slot.seen}).status_code == 404


def test_stop_with_a_reason_and_whether_it_counts(line, director, day, database):
    for _ in range(4):
        next_step(director)
    assert line("step/stop", seen=seen(database, day), reason="Rain.", counts="no").status_code == 303
    text = page(director)
    assert "Does not count as flown: it is flown again. Rain." in text
    assert line("counts", seen=seen(database, day), counts="yes").status_code == 303
    assert "Counts as flown." in page(director)


def test_undo_stands_where_the_act_was(line, director, day, database):
    next_step(director)
    undo = re.search(r'action="/days/tern/line/undo"><input[^>]*name="seen" value="([^"]+)"', page(director))
    assert "Undo: the call is taken back" in page(director)
    assert line("undo", seen=undo[1]).status_code == 303
    assert primary(page(director))[0] == "Wren off. Heat 1 is over, does not count"


class TestEverybodyLand:
    def test_it_is_on_every_page_of_the_director(self, director, day):
        for end in ("check-in", "plan", "line", "open-flying", "heat-sheet", "site", "logbook"):
            text = director.get(f"/days/tern/{end}").text
            assert 'aria-keyshortcuts="F9"' in text, end
            assert "everybody_land.js" in text

    def test_it_shows_with_its_reason_on_phone_and_board_and_is_lifted(self, line, client, day, database):
        line("everybody-land", reason="A helicopter.")
        phone = client.get(f"/slot/{token(database, day, 'Wren')}").text
        board = client.get("/board/tern").text
        for text in (phone, board):
            assert 'data-alarm="on"' in text
            assert "A helicopter." in text
        assert client.get("/days/tern/line/everybody-land").json() == {
            "on": True,
            "reason": "A helicopter.",
            "since": NOW.isoformat(),
        }
        line("lift")
        assert 'data-alarm="on"' not in client.get("/board/tern").text
        assert client.get("/days/tern/line/everybody-land").json() == {"on": False, "reason": "", "since": ""}

    def test_a_stranger_neither_presses_nor_asks(self, client, day):
        assert client.post("/days/tern/line/everybody-land").status_code in (303, 401, 403)
        assert client.get("/days/tern/line/everybody-land").status_code in (303, 401, 403)

    def test_the_word_stands_once_on_the_phone(self, line, client, day, database):
        line("everybody-land")
        text = client.get(f"/slot/{token(database, day, 'Wren')}").text
        assert text.count('data-key="word"') == 1


class TestClearances:
    def test_a_phone_asks_and_says_on_and_off(self, client, day, database):
        rook = token(database, day, "Rook")
        assert client.post(f"/slot/{rook}/clearance", data={"why": "retune"}).status_code == 303
        assert "Cleared to switch on: retune" in client.get(f"/slot/{rook}").text
        with database.read() as session:
            one = clearances.live(session, day.id)[0]
        at = f"/slot/{rook}/clearances/{one.id}"
        assert client.post(f"{at}/on", data={"seen": "cleared"}).status_code == 303
        assert client.post(f"{at}/override", data={"seen": "on"}).status_code == 404
        assert client.post(f"{at}/off", data={"seen": "on"}).status_code == 303
        with database.read() as session:
            assert clearances.live(session, day.id) == []

    def test_the_director_asks_for_somebody_and_overrides_in_words(self, line, director, day, database):
        next_step(director)
        with database.read() as session:
            rook = id_of(session, day, "Rook")
        assert line("clearances", pilot=str(rook), why="bench check", place="pits").status_code == 303
        assert "Heat 1 is up: wait until it is over" in page(director)
        with database.read() as session:
            one = clearances.live(session, day.id)[0]
        assert line(f"clearances/{one.id}/override", seen="waiting", words="").status_code == 422
        assert line(f"clearances/{one.id}/override", seen="waiting", words="Far away.").status_code == 303
        assert "cleared, may be on" in page(director)

    def test_a_reason_that_is_none_stands_on_the_phones_page(self, client, day, database):
        answer = client.post(f"/slot/{token(database, day, 'Rook')}/clearance", data={"why": "fun"})
        assert answer.status_code == 422
        assert "Choose what the transmitter is to be on for" in answer.text


def test_walkers_and_hours_are_said_on_the_page(line, director, day):
    line("walkers", state="there")
    assert "nobody powers up, nobody is released" in page(director)
    line("walkers", state="gone")
    assert line("hours", starts_at="10:00", ends_by="18:00").status_code == 303
    text = page(director)
    assert "Before 18:00" in text
    assert "30 min behind" in text  # 09:30 UTC is 10:30 in Dublin
    answer = line("hours", starts_at="late", ends_by="18:00")
    assert answer.status_code == 422
    assert 'value="late"' in answer.text


def test_a_blocked_heat_has_no_key_but_a_way_to_call_it_in_words(line, director, day, database):
    with database.write() as session:
        happen(session, day, "down", pilot=id_of(session, day, "Quill"))
    text = page(director)
    assert 'aria-keyshortcuts="n"' not in text
    assert "In the way" in text
    assert 'href="/days/tern/plan#plan-changes"' in text
    assert line("call", heats="1", seen=seen(database, day), override="Behind the hill.").status_code == 303


def test_load_and_poll_have_the_same_markup(director, day):
    next_step(director)
    loaded = re.search(r'<div id="live">(.*?)</div>\n</div>\n<div class="line__forms">', page(director), re.S)
    assert loaded[1].strip() == director.get("/days/tern/line/state").json()["html"].strip()


def test_an_archived_day_takes_no_press(line, director, day, database):
    with database.write() as session:
        session.merge(day).archived_at = NOW
    assert "This field day is archived" in page(director)
    assert line("call", heats="1", seen="").status_code in (409, 422)


def test_the_hours_of_the_day_are_asked_for_alone(director, day):
    answer = director.get("/days/tern/line/clock")
    assert "0 of 2 heats" in answer.text
    assert "<html" not in answer.text
    assert 'data-url="/days/tern/line/clock"' in page(director)


def test_before_a_plan_there_are_no_hours_to_ask_for(director, database):
    with database.write() as session:
        make_day(session, code="rush")
    assert director.get("/days/rush/line/clock").status_code == 204


def test_somebody_who_is_on_unasked_is_noted_shown_and_off_again(line, director, client, database, day):
    with database.read() as session:
        rook = id_of(session, day, "Rook")
        token = pilots.pilot_of(session, day, rook).link_token
    assert line("unasked", pilot=str(rook), place="pits").status_code == 303
    assert "On, unasked" in page(director)
    assert "DISARM THEN POWER OFF" in client.get(f"/slot/{token}").text
    assert "You are on, unasked" in client.get(f"/slot/{token}").text
    assert "Undo: Rook was not on after all." in page(director)
    with database.read() as session:
        (one,) = clearances.live(session, day.id)
    assert line(f"clearances/{one.id}/off", seen=one.seen).status_code == 303
    assert "On, unasked" not in page(director)


def test_where_somebody_is_on_has_to_be_said(line, database, day):
    with database.read() as session:
        rook = id_of(session, day, "Rook")
    answer = line("unasked", pilot=str(rook), place="elsewhere")
    assert answer.status_code == 422
    assert "Choose where it is on" in answer.text


def test_the_day_along_its_hours_moves_on_by_itself(director, line):
    assert "They have no times yet" not in page(director)  # nothing has one, so nothing is drawn
    assert "Ahead, without times: heat 1, 2." in page(director)
    line("hours", starts_at="11:00", ends_by="12:30")
    fragment = director.get("/days/tern/line/timeline").text
    assert "The last is over at about 11:16." in fragment
    assert "one every 8 min, as assumed until some were flown" in fragment
    assert fragment.split("<figure")[1] in page(director)


def test_the_drawing_and_the_clock_count_the_same_heats(director, day):
    while (words := next_step(director)) != "Call heat 2":
        assert words
    text = page(director)
    assert '<dd data-key="flown">1 of 2 heats</dd>' in text
    assert "1 heat flown, from " in text
