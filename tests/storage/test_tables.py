from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy.exc import IntegrityError, StatementError
from sqlmodel import SQLModel

from server.storage import days, pilots, tables
from tests.factories import make_aircraft, make_day, make_pilot


def test_a_time_comes_back_as_the_same_moment_in_utc(database):
    noon_in_delhi = datetime(2026, 5, 16, 12, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    with database.write() as session:
        day_id = make_day(session, created_at=noon_in_delhi).id
    with database.read() as session:
        found = days.by_id(session, day_id).created_at
    assert found == noon_in_delhi
    assert found.tzinfo is UTC


def test_a_time_without_a_zone_is_refused(database):
    with pytest.raises(StatementError, match="timezone"), database.write() as session:
        make_day(session, created_at=datetime(2026, 5, 16, 12))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"callsign": "Wren"}, {"callsign": "WREN"}),  # the same callsign but for case
        ({"callsign": "Wren", "join_id": "a"}, {"callsign": "Rook", "join_id": "a"}),  # one form sent twice
        ({"callsign": "Wren", "link_token": "t"}, {"callsign": "Rook", "link_token": "t"}),
    ],
)
def test_two_pilots_of_a_day_cannot_share(database, first, second):
    with database.write() as session:
        day = make_day(session)
        make_pilot(session, day, **first)
    with pytest.raises(IntegrityError), database.write() as session:
        make_pilot(session, day, **second)


def test_a_callsign_may_come_again_on_another_day(database):
    with database.write() as session:
        make_pilot(session, make_day(session), "Wren")
        make_pilot(session, make_day(session), "Wren")


def test_two_days_cannot_share_a_code(database):
    with database.write() as session:
        make_day(session, code="tern")
    with pytest.raises(IntegrityError), database.write() as session:
        make_day(session, code="tern")


@pytest.mark.parametrize("state", ["", "gone", "Checked in"])
def test_a_pilot_is_in_a_known_state(database, state):
    with pytest.raises(IntegrityError), database.write() as session:
        make_pilot(session, make_day(session), state=state)


def test_a_deleted_pilot_takes_the_aircraft_along(database):
    with database.write() as session:
        pilot = make_pilot(session, make_day(session))
        make_aircraft(session, pilot, name="spare 1", position=1)
        session.delete(pilot)
        session.flush()
        assert pilots.aircraft_of(session, pilot.id) == []


def test_a_pilot_stays_when_the_flying_aircraft_is_deleted(database):
    with database.write() as session:
        day = make_day(session)
        pilot = make_pilot(session, day)
        session.delete(pilots.aircraft_of(session, pilot.id)[0])
        session.flush()
        session.refresh(pilot)
        assert pilot.flying_aircraft_id is None


def test_a_pilot_needs_a_day_that_exists(database):
    with pytest.raises(IntegrityError), database.write() as session:
        make_pilot(session, make_day(session), field_day_id=99)


@pytest.mark.parametrize("table", SQLModel.metadata.sorted_tables, ids=lambda table: table.name)
def test_every_constraint_has_a_name(table):
    assert all(constraint.name for constraint in table.constraints)


def test_all_tables_can_be_imported_from_one_place():
    by_name = {cls.__tablename__ for cls in vars(tables).values() if hasattr(cls, "__tablename__")}
    assert by_name == set(SQLModel.metadata.tables)
