"""A day's file on either database: what was exported from one is the same once it is brought in to the other."""

import pytest

from server.services import day_files, day_imports
from server.storage import day_rows
from server.storage.session import Database
from tests.factories import FIRST_CLUB, NOW, make_day, make_pilot
from tests.full_day import full_day


@pytest.fixture
def session(database):
    with database.write() as session:
        yield session


@pytest.fixture
def exported(data_file) -> bytes:
    other = data_file.with_name("other.sqlite")
    other.write_bytes(data_file.read_bytes())
    elsewhere = Database(other)
    with elsewhere.write() as session:
        code = full_day(session).code
        exported = day_files.export(session, code)
    elsewhere.close()
    return exported


def bring_in(session, data: bytes) -> day_imports.BroughtIn:
    return day_imports.bring_in(session, FIRST_CLUB, day_files.read(data, "day.json"), "day.json", NOW)


def test_an_empty_database_gets_the_day_to_the_letter(session, exported):
    day = bring_in(session, exported).day
    assert day_files.export(session, day.code) == exported


def test_rows_that_come_later_have_higher_numbers_also_when_all_of_a_day_came_with_theirs(session, exported):
    bring_in(session, exported)
    highest = day_rows.highest_id(session, "pilots")
    assert highest == 4
    pilot = make_pilot(session, make_day(session), "Late")
    assert pilot.id == 5
    assert day_rows.highest_id(session, "pilots") == 5


def test_a_second_copy_goes_beside_the_first(session, exported):
    first = bring_in(session, exported)
    second = bring_in(session, exported)
    assert second.code_before == first.day.code
    for name in day_rows.TABLES:
        there = [len(day_rows.of_day(session, one.day.id, name)) for one in (first, second)]
        assert there[0] == there[1] > 0, name


def test_rows_that_the_database_refuses_are_told_apart_from_a_database_that_fails(session):
    with pytest.raises(day_rows.RowsDoNotFitError):
        day_rows.put_in(session, "pilots", [{"id": 1, "callsign": "Wren"}])
