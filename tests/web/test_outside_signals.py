import html

import pytest

from server.storage import days, logbook, outside_signals, pilots
from tests.factories import make_pilot
from tests.services.changed_days import published_day
from tests.services.planned_days import day_with_pilots
from tests.waiting import ended_job


@pytest.fixture
def day(database):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2, published."""
    with database.write() as session:
        return published_day(session, code="tern")


def page(director):
    return html.unescape(director.get("/days/tern/plan").text)


def rows_of(database, day):
    with database.read() as session:
        return outside_signals.on_the_air(session, day.id)


def note(director, app, day, **form):
    answer = director.post("/days/tern/plan/outside", data=form)
    if app.state.jobs.latest(day.id, "change"):
        ended_job(app.state.jobs, day.id, "change")
    return answer


def test_an_empty_list_says_how_to_note_a_signal(director, day):
    told = page(director)
    assert "Something else is on the air" in told
    assert "5745 20 -70 camera van, or R3 weak, or wifi 149" in told


def test_a_signal_is_noted_and_what_it_costs_is_shown(director, app, day):
    assert note(director, app, day, signal="5658 10 -80 van").status_code == 303
    told = page(director)
    assert "5658 MHz, 10 MHz wide, \N{MINUS SIGN}80 dBm" in told
    assert "Against the published plan" in told
    assert "Undo: On the air at 5658 MHz" in told
    assert "Wren moves from" in told


def test_its_end_takes_it_off_the_list_and_closes_the_rows(director, app, database, day):
    note(director, app, day, signal="5658 10 -80 van")
    (row,) = rows_of(database, day)
    assert director.post("/days/tern/plan/outside/end", data={"signal_id": row.id}).status_code == 303
    assert rows_of(database, day) == []
    assert "Undo: On the air" not in page(director)
    again = director.post("/days/tern/plan/outside/end", data={"signal_id": row.id})
    assert again.status_code == 409
    assert "somebody noted that it is gone" in again.text


def test_what_was_typed_stays_with_the_reason_under_it(director, database, day):
    answer = director.post("/days/tern/plan/outside", data={"signal": "the van"})
    told = html.unescape(answer.text)
    assert answer.status_code == 422
    assert 'value="the van"' in told
    assert "“the” is no frequency, channel or Wi-Fi channel: begin with one" in told
    assert rows_of(database, day) == []


def test_it_can_be_noted_before_anybody_has_come(director, database):
    with database.write() as session:
        day = day_with_pilots(session, code="tern")
    assert director.post("/days/tern/plan/outside", data={"signal": "wifi 149"}).status_code == 303
    assert "Wi-Fi channel 149" in page(director)
    with database.read() as session:
        assert logbook.newest_first(session, days.by_id(session, day.id).id, 1)[0].action == "outside signal"


def test_other_video_shares_the_air_by_one_press(director, app, database, day):
    with database.write() as session:
        coot = make_pilot(session, days.by_id(session, day.id), "Coot")
        coot_id = coot.id
        aircraft = pilots.aircraft_of(session, coot_id)[0]
        aircraft.video, aircraft.centre_mhz, aircraft.width_mhz = "other", 5760.0, 20.0
    assert "Coot has other video at 5760 MHz, 20 MHz wide" in page(director)
    assert note(director, app, day, shares=str(coot_id)).status_code == 303
    assert "Coot's other video" in page(director)
    assert "Coot has other video" not in page(director)
    assert note(director, app, day, shares=str(coot_id)).status_code == 422


def test_a_stranger_can_note_nothing(client, database, day):
    client.post("/days/tern/plan/outside", data={"signal": "5745"})
    assert rows_of(database, day) == []
