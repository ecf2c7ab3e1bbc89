"""Whatever changes what the public sees is announced, and only once it is committed."""

import pytest

from server.services import days
from server.services.board import board_of_day
from server.services.day_now import DayNow
from server.services.site_fields import fields_of
from server.services.slots import slots_of_day
from server.storage import pilots
from tests.factories import FIRST_CLUB, NOW, make_day, make_pilot
from tests.factories_snapshot import publish


@pytest.fixture
def day(database):
    """A day with plan 1, which Wren is in."""
    with database.write() as session:
        day = make_day(session, code="tern")
        publish(session, day, [[(make_pilot(session, day, "Wren"), 5800)]])
        return day


@pytest.fixture
def wren(database, day):
    with database.read() as session:
        return pilots.of_day(session, day.id)[0]


@pytest.fixture
def told(monkeypatch):
    """What stood in the database at each announcement: the board and the slots of the day."""
    states = []

    def announce(database, _hub, day_id):
        with database.read() as session:
            day = next(one for one in days.all_days(session, FIRST_CLUB) if one.id == day_id)
            now = DayNow(session, day)
            states.append((board_of_day(session, now), slots_of_day(session, now)))

    monkeypatch.setattr("server.services.live.announce", announce)
    return states


@pytest.mark.parametrize(("state", "standing"), [("withdrawn", "withdrawn"), ("no-show", "no-show")])
def test_a_pilot_who_leaves_and_comes_back(organizer, wren, told, state, standing):
    for posted in (state, "checked in"):
        organizer.post(f"/days/tern/pilots/{wren.id}/state", data={"state": posted})
    (gone_board, (gone,)), (board, (back,)) = told
    assert gone_board.heats[0].slots[0].is_out
    assert gone.standing == standing
    assert not board.heats[0].slots[0].is_out
    assert back.standing == "planned"


def test_a_pilot_who_is_added(organizer, day, told):
    organizer.post("/days/tern/pilots", data={"line": "Otter R 25"})
    ((board, slots),) = told
    assert board.not_in_plan == ("Otter",)
    assert [slot.callsign for slot in slots] == ["Wren", "Otter"]


def test_an_address_for_phones(organizer, database, day, told):
    fields = fields_of(day)
    sent = {**fields, **{f"was_{name}": text for name, text in fields.items()}, "version": day.version}
    answer = organizer.post("/days/tern/site", data={**sent, "base_url": "http://192.168.4.10:8000"})
    assert answer.status_code == 303
    ((board, _),) = told
    assert board.join_url == "http://192.168.4.10:8000/join/tern"


def test_a_site_that_was_not_taken_is_not_announced(organizer, day, told):
    assert organizer.post("/days/tern/site", data={"near_m": "far"}).status_code == 409
    assert told == []


def test_a_day_put_away_and_brought_back(organizer, day, told):
    organizer.post("/days/tern/archive")
    organizer.post("/days/tern/bring-back")
    assert [(board.is_archived, slots[0].standing) for board, slots in told] == [
        (True, "day over"),
        (False, "planned"),
    ]


@pytest.mark.parametrize("page", ["check-in", "plan", "heat-sheet", "site", "logbook", "import"])
def test_every_page_of_a_day_says_what_is_live_and_lets_the_director_leave(organizer, day, page):
    text = organizer.get(f"/days/tern/{page}").text
    live = text.split('id="masthead-live">')[1].split("</div>")[0]
    assert "Plan 1 is live" in live
    assert "live-mark--" in live
    assert '<form method="post" action="/sign-out">' in text


def test_the_list_of_days_says_what_is_live_on_the_current_one(organizer, database, day):
    assert f"{day.name} · Plan 1 is live" in organizer.get("/days").text
    with database.write() as session:
        days.archive(session, "tern", NOW)
    assert "is live" not in organizer.get("/days").text
