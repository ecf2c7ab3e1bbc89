"""What happens at open flying without a press: nudges in time, and places that the roster frees."""

from datetime import timedelta

import pytest

from server.services import open_flying, pilots, turns
from server.services.live import Hub
from server.services.turn_watch import TurnWatch
from server.storage import turns as stored
from server.storage.session import Database
from tests.factories import NOW, make_day, make_pilot
from tests.services.planned_days import SETTINGS


@pytest.fixture
def field(database):
    """One place, which Wren has; Otter waits."""
    with database.write() as session:
        day = make_day(session, aircraft=1, **SETTINGS)
        open_flying.open_up(session, day, False, "director", NOW)
        wren, otter = (
            turns.ask(session, day, make_pilot(session, day, name), "pilot", NOW)
            for name in ("Wren", "Otter")
        )
    return day, wren, otter


@pytest.fixture
def watch(database):
    return TurnWatch(database, Hub())


def turn_now(database, day, turn):
    with database.read() as session:
        return stored.by_id(session, day.id, turn.id)


def order(database, day):
    with database.read() as session:
        return Database.order(session, day.id)


def test_a_nudge_comes_when_its_time_has_come(database, field, watch):
    day, wren, _ = field
    watch.look(NOW + timedelta(minutes=9))
    assert turn_now(database, day, wren).nudged_at is None
    watch.look(NOW + timedelta(minutes=10))
    assert turn_now(database, day, wren).nudged_at is not None


def test_a_place_that_the_roster_frees_goes_to_the_next(database, field, watch):
    day, wren, otter = field
    watch.look(NOW)
    with database.write() as session:
        pilots.set_state(session, day, pilots.pilot_of(session, day, wren.pilot_id), "withdrawn", "desk", NOW)
    watch.look(NOW)
    assert turn_now(database, day, otter).stage == "ready"


def test_where_nothing_happened_nothing_is_written(database, field, watch, monkeypatch):
    day, *_ = field
    watch.look(NOW)
    before = order(database, day)
    monkeypatch.setattr(database, "write", lambda: pytest.fail("it wrote"))
    watch.look(NOW + timedelta(minutes=5))
    assert order(database, day) == before


def test_an_archived_day_is_left_alone(database, field, watch):
    day, wren, _ = field
    with database.write() as session:
        session.merge(day).archived_at = NOW
    watch.look(NOW + timedelta(minutes=30))
    assert turn_now(database, day, wren).nudged_at is None
