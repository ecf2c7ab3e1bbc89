"""Data from before there were clubs: they become the first club's, and the director becomes the organizer."""

from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from server import paths
from server.services import access, pass_phrases
from server.services.sign_in_limits import Account
from server.storage import clubs, days, logbook, migrate
from server.storage.session import Database
from tests.factories import NOW

PHRASE, TOKEN = "boulder mulberry branch arrow papaya lily", "token of a browser"
SALT = b"0123456789abcdef"
LATER = NOW + timedelta(hours=1)


@pytest.fixture(params=["data file", "postgresql"])
def old_place(request, tmp_path: Path):
    if request.param == "data file":
        yield tmp_path / "old.sqlite"
    else:
        with request.getfixturevalue("postgresql").database(template="template0") as address:
            yield address


@pytest.fixture(params=["0001", "0013"])
def old(request, old_place):
    """A place as an older version left it, with a day, a pass phrase, a sign-in and what the logbook said."""
    with migrate.migration_engine(old_place).connect() as connection:
        config = migrate.configuration(paths.MIGRATIONS)
        config.attributes["connection"] = connection
        command.upgrade(config, request.param)
        fill(connection)
        connection.commit()
    migrate.upgrade(old_place, paths.MIGRATIONS)
    return old_place


@pytest.fixture
def database(old):
    database = Database(old)
    yield database
    database.close()


def fill(connection) -> None:
    parameters = '{"n": 2, "r": 1, "p": 1}'
    hashed = pass_phrases._hash(PHRASE, SALT, {"n": 2, "r": 1, "p": 1})
    known = {
        "now": NOW.isoformat(" "),
        "later": LATER.isoformat(" "),
        "salt": SALT,
        "hash": hashed,
        "parameters": parameters,
        "token": access.token_hash(TOKEN),
    }
    for statement in (
        "INSERT INTO field_day (code, name, date, time_zone, aircraft, rounds, heat_minutes, settings_json, "
        "version, created_at) VALUES ('tern', 'Tern Meadow', '2026-05-16', 'UTC', 6, 3, 5, '{}', 1, :now)",
        "INSERT INTO director_secret VALUES (1, :salt, :hash, :parameters, :now)",
        "INSERT INTO director_session (token_hash, created_at, expires_at) VALUES (:token, :now, :later)",
        "INSERT INTO failed_sign_in (address, at) VALUES ('10.0.0.1', :now)",
        "INSERT INTO logbook_entry (field_day_id, at, who, action, text, data_json) "
        "VALUES (NULL, :now, 'director', 'signed in', 'The director signed in.', '{}')",
        "INSERT INTO logbook_entry (field_day_id, at, who, action, text, data_json) "
        "VALUES (1, :now, 'director', 'day made', 'Made the field day.', '{}')",
    ):
        connection.execute(text(statement), known)


def test_what_there_was_is_the_first_clubs(database):
    with database.read() as session:
        (club,) = clubs.oldest_first(session)
        assert [day.code for day in days.newest_first(session, club.id)] == ["tern"]
        entries = logbook.newest_first(session, 1, 9)
    assert [(entry.text, entry.club_id) for entry in entries] == [
        ("Made the field day.", None),
        ("The director signed in.", club.id),
    ]


def test_who_was_the_director_is_the_organizer_and_stays_signed_in(database):
    with database.read() as session:
        (club,) = clubs.oldest_first(session)
        one = access.signed_in(session, TOKEN, NOW)
        assert (one.club_id, one.role) == (club.id, "organizer")
        assert access.signed_in(session, TOKEN, LATER) is None
    account = Account(club.id, "organizer")
    assert access.sign_in(database, account, PHRASE, "10.0.0.1", NOW, timedelta(hours=1))


def test_the_logbook_still_only_grows(database):
    change = "UPDATE logbook_entry SET text = 'changed'"
    with pytest.raises(DBAPIError, match="the logbook only grows"), database.write() as session:
        session.execute(text(change))


def test_a_day_needs_a_club(database):
    orphan = "UPDATE field_day SET club_id = NULL"
    with pytest.raises(DBAPIError), database.write() as session:
        session.execute(text(orphan))
