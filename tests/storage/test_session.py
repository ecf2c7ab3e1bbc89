"""The transaction recipe against what goes wrong without it."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm.exc import StaleDataError

from server.storage import days
from server.storage.session import Database
from tests.factories import make_day, make_logbook_entry

REFUSED = r"readonly database|read-only transaction"
"""In SQLite's words, and in PostgreSQL's."""


def pragma(session, name):
    return session.connection().exec_driver_sql(f"pragma {name}").scalar()


def make_day_and_fail(session):
    make_day(session)
    raise ZeroDivisionError


def test_sixteen_threads_lose_no_update(database):
    with database.write() as session:
        day_id = make_day(session, rounds=0).id

    def add_a_round(_):
        with database.write() as session:
            days.by_id(session, day_id).rounds += 1

    with ThreadPoolExecutor(16) as threads:
        list(threads.map(add_a_round, range(320)))

    with database.read() as session:
        assert days.by_id(session, day_id).rounds == 320


@pytest.fixture
def file_database(data_file):
    database = Database(data_file)
    yield database
    database.close()


@pytest.mark.parametrize("way", ["read", "write"])
def test_every_connection_flushes_fully_and_checks_foreign_keys(file_database, way):
    with getattr(file_database, way)() as session:
        assert pragma(session, "journal_mode") == "wal"
        assert pragma(session, "synchronous") == 2
        assert pragma(session, "foreign_keys") == 1
        assert pragma(session, "recursive_triggers") == 1


def test_a_reading_session_refuses_to_write(database):
    with (
        database.read() as session,
        pytest.raises(DBAPIError, match=REFUSED),
    ):
        make_day(session)


def test_a_connection_that_has_written_refuses_again_when_it_reads(database):
    for _ in range(3):
        with database.write() as session:
            make_day(session)
        with (
            database.read() as session,
            pytest.raises(DBAPIError, match=REFUSED),
        ):
            make_day(session)


def test_a_reader_neither_waits_for_an_open_writer_nor_sees_its_change(database):
    with database.write() as session:
        day_id = make_day(session, name="old").id
    with database.write() as writing:
        days.by_id(writing, day_id).name = "new"
        writing.flush()
        with database.read() as reading:
            assert days.by_id(reading, day_id).name == "old"
    with database.read() as reading:
        assert days.by_id(reading, day_id).name == "new"


def test_a_reader_sees_one_moment(database):
    with database.read() as reading:
        assert days.newest_first(reading) == []
        with database.write() as writing:
            make_day(writing)
        assert days.newest_first(reading) == []


def test_a_block_that_raises_changes_nothing(database):
    with pytest.raises(ZeroDivisionError), database.write() as session:
        make_day_and_fail(session)
    with database.read() as session:
        assert days.newest_first(session) == []


def test_a_failed_block_lets_the_next_writer_in(database):
    with pytest.raises(ZeroDivisionError), database.write() as session:
        make_day_and_fail(session)
    with database.write() as session:
        make_day(session)
    with database.read() as session:
        assert len(days.newest_first(session)) == 1


def test_a_write_inside_a_write_is_refused_instead_of_waiting_for_itself(database):
    with database.write(), pytest.raises(RuntimeError, match="a write inside a write"), database.write():
        pass


def test_writers_of_one_process_queue(database):
    inside = threading.Event()
    order = []

    def second():
        inside.wait(5)
        with database.write():
            order.append("second")

    thread = threading.Thread(target=second)
    thread.start()
    with database.write():
        inside.set()
        thread.join(0.05)
        order.append("first")
    thread.join(5)
    assert order == ["first", "second"]


def test_the_later_of_two_editors_is_told(database):
    with database.write() as session:
        day_id = make_day(session).id
    with database.read() as session:
        seen_before = days.by_id(session, day_id)
    with database.write() as session:
        days.by_id(session, day_id).name = "Tern Meadow"
    seen_before.name = "Wren Hill"
    with pytest.raises(StaleDataError), database.write() as session:
        session.add(seen_before)
    with database.read() as session:
        kept = days.by_id(session, day_id)
        assert (kept.name, kept.version) == ("Tern Meadow", 2)


def test_order_is_that_of_the_days_newest_logbook_row(database):
    with database.write() as session:
        day, other = make_day(session), make_day(session)
        assert database.order(session, day.id) == 0
        entry = make_logbook_entry(session, day)
        make_logbook_entry(session, other)
        assert database.order(session, day.id) == entry.id


def test_order_rises_though_the_database_forgets_nothing_else(database):
    """An id given once is not given again, so a message never seems newer than a later one."""
    with database.write() as session:
        first = make_day(session)
        session.delete(first)
        session.flush()
        assert make_day(session).id > first.id


def test_a_commit_is_flushed_to_the_file(file_database):
    with file_database.write() as session:
        make_day(session, name="kept")
    file = file_database.place
    copy = file.with_name("killed.sqlite")
    copy.write_bytes(file.read_bytes())
    log = file.with_name(file.name + "-wal")
    copy.with_name(copy.name + "-wal").write_bytes(log.read_bytes())
    after_the_kill = Database(copy)
    with after_the_kill.read() as session:
        assert [day.name for day in days.newest_first(session)] == ["kept"]
        assert session.connection().execute(text("pragma integrity_check")).scalar() == "ok"
    after_the_kill.close()
