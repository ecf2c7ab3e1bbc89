import html
import re

import pytest

from server.storage import pilots
from server.storage import trouble_reports as stored
from tests.services.called_days import call_heat, released
from tests.services.changed_days import id_of, published_day

DESK = "/days/tern/line/trouble"


@pytest.fixture
def day(database):
    """Wren and Otter fly heat 1."""
    with database.write() as session:
        day = published_day(session, code="tern")
        released(session, day, 1)
        return day


@pytest.fixture
def token(database, day):
    with database.read() as session:
        return pilots.by_callsign_key(session, day.id, "wren").link_token


def reports(database, day):
    with database.read() as session:
        return stored.still_open(session, day.id)


def told(client, path):
    return html.unescape(client.get(path).text)


def test_without_trouble_the_desk_says_how_a_report_comes(director, day):
    page = told(director, DESK)
    assert "No trouble" in page
    assert "I have a problem" in page


def test_a_pilot_reports_and_is_told_that_the_director_has_it(client, director, database, day, token):
    assert "I have a problem" in told(client, f"/slot/{token}")
    answer = client.post(f"/slot/{token}/trouble", data={"symptom": "flicker", "near": "Otter", "onset": ""})
    assert answer.status_code == 303
    assert "The director has it:" in told(client, f"/slot/{token}")
    page = told(director, DESK)
    assert "flicker when Otter is near" in page
    assert "by the pilot" in page
    assert "Trouble" in told(director, "/days/tern/line")


def test_nobody_and_nothing_is_chosen_beforehand(director, database, day):
    answer = director.post(DESK, data={"pilot": "", "symptom": "lines", "near": "", "onset": ""})
    assert answer.status_code == 422
    page = html.unescape(answer.text)
    assert "Choose who calls it." in page
    assert re.search(r'value="lines"[^>]* checked', page)
    assert not reports(database, day)
    assert " checked" not in told(director, DESK)


def test_the_director_takes_one_down_and_tells_the_test(client, director, database, day, token):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    assert director.post(DESK, data={"pilot": wren, "symptom": "lines"}).status_code == 303
    (row,) = reports(database, day)
    data = {"seen": row.version, "test": "pits"}
    assert director.post(f"{DESK}/{row.id}/test", data=data).status_code == 303
    (row,) = reports(database, day)
    assert row.answer in told(client, f"/slot/{token}")
    assert "Wren's page says so" in told(director, DESK)


def test_a_test_is_entered_by_one_press_and_taken_back_by_another(director, database, day):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    director.post(DESK, data={"pilot": wren, "symptom": "lines"})
    assert "Test now" in told(director, DESK)
    (row,) = reports(database, day)
    data = {"seen": row.version, "test": "pits", "outcome": "no"}
    assert director.post(f"{DESK}/{row.id}/outcome", data=data).status_code == 303
    assert "Causes after 1 test<" in told(director, DESK)
    (row,) = reports(database, day)
    assert director.post(f"{DESK}/{row.id}/undo", data={"seen": row.version}).status_code == 303
    assert "Causes after" not in told(director, DESK)


def test_an_outcome_that_no_button_sends_is_told_above(director, database, day):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    director.post(DESK, data={"pilot": wren, "symptom": "lines"})
    (row,) = reports(database, day)
    data = {"seen": row.version, "test": "pits", "outcome": "perhaps"}
    answer = director.post(f"{DESK}/{row.id}/outcome", data=data)
    assert answer.status_code == 422
    assert "There is no such outcome: use the buttons of the page." in html.unescape(answer.text)


def test_a_second_director_on_an_old_page_is_told(director, database, day):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    director.post(DESK, data={"pilot": wren, "symptom": "lines"})
    (row,) = reports(database, day)
    assert director.post(f"{DESK}/{row.id}/over", data={"seen": row.version}).status_code == 303
    late = director.post(f"{DESK}/{row.id}/over", data={"seen": row.version})
    assert late.status_code == 409
    assert "somebody answered or closed it" in html.unescape(late.text)


def test_what_was_chosen_stays_where_it_cannot_be_taken(director, database, day):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    answer = director.post(DESK, data={"pilot": wren, "symptom": "odd", "onset": "suddenly"})
    page = html.unescape(answer.text)
    assert answer.status_code == 422
    assert "Say what is seen: choose one of the five." in page
    assert re.search(r'value="suddenly" selected', page)


def test_an_act_that_is_none_is_refused(director, database, day):
    with database.read() as session:
        wren = id_of(session, day, "Wren")
    director.post(DESK, data={"pilot": wren, "symptom": "lines"})
    (row,) = reports(database, day)
    assert director.post(f"{DESK}/{row.id}/dance", data={"seen": row.version}).status_code == 422


def test_strangers_neither_see_the_desk_nor_report_for_a_pilot(client, database, day):
    assert client.get(DESK).status_code in (303, 401, 403)
    client.post(DESK, data={"pilot": "1", "symptom": "lines"})
    assert client.post("/slot/nobody/trouble", data={"symptom": "lines"}).status_code == 404
    assert reports(database, day) == []


def test_the_desk_is_polled_like_every_live_page(director, day):
    answer = director.get(f"{DESK}/state")
    assert answer.status_code == 200
    assert "No trouble" in answer.json()["html"]


def test_the_page_of_who_powers_up_has_both_buttons_and_takes_a_report(client, database):
    with database.write() as session:
        day = published_day(session, code="swift")
        call_heat(session, day, 1)
    with database.read() as session:
        link = f"/slot/{pilots.by_callsign_key(session, day.id, 'wren').link_token}"
    page = told(client, link)
    assert "POWER UP" in page
    assert "Picture is clear</button>" in page
    assert "I have a problem</summary>" in page
    client.post(f"{link}/trouble", data={"symptom": "another picture"})
    page = told(client, link)
    assert "The director has it:" in page
    assert "Stay on the ground, motors disarmed" in page
