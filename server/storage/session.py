"""The transaction recipe: who reads never waits, who writes never loses an update.

A reader sees one moment and cannot write. Writers go one at a time, over all processes, and each begins with the
right to write, so that what it reads is still true when it writes: SQLite's BEGIN IMMEDIATE, PostgreSQL's
advisory lock. Left alone, SQLite's driver starts no transaction at a SELECT, and two read-change-write rounds
silently lose one of the changes. One at a time is also what makes the logbook's ids an order: a state with a
higher id was committed later. A change takes some milliseconds; a club's day makes a few a second.

Writers of this process also queue at a lock of its own: SQLite's waiting is unfair and lets single writers wait
for a second.
"""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, func, make_url
from sqlalchemy.exc import DatabaseError, DataError, DBAPIError, IntegrityError, ProgrammingError
from sqlmodel import Session, col, select

from server.storage.tables import LogbookEntry

BUSY_TIMEOUT_S = 5
CONNECTIONS, MORE_CONNECTIONS = 20, 20
WRITERS = 0x42414E44
"""The advisory lock's number in PostgreSQL; any number that nothing else takes."""

Place = Path | str
"""Where the data are: an SQLite file, or a PostgreSQL database by its address, postgresql://…"""


def shown(place: Place) -> str:
    """The place in words for people and logs: without a password."""
    return str(place) if isinstance(place, Path) else make_url(place).render_as_string(hide_password=True)


def sqlite_url(file: Path) -> URL:
    return URL.create("sqlite", database=str(file))


def postgresql_url(address: str) -> URL:
    return make_url(address).set(drivername="postgresql+psycopg")


LOCKED, FULL, READ_ONLY, DAMAGED, AWAY = "locked", "full", "read-only", "damaged", "away"

_FAILURES = (
    ("locked", LOCKED),
    ("lock timeout", LOCKED),
    ("disk is full", FULL),
    ("no space left", FULL),
    ("disk i/o error", FULL),
    ("readonly", READ_ONLY),
    ("read-only", READ_ONLY),
    ("malformed", DAMAGED),
    ("not a database", DAMAGED),
)
"""Words of the drivers' messages; SQLite says "disk I/O error" where a file may not grow any more."""


class DatabaseFailsError(Exception):
    """The database cannot be read or written now; what was being changed is as it was before.

    why  LOCKED, FULL, READ_ONLY, DAMAGED, or AWAY for anything else
    """

    def __init__(self, error: DBAPIError | sqlite3.Error) -> None:
        reason = error.orig if isinstance(error, DBAPIError) else error
        super().__init__(str(reason).strip())
        said = str(reason).lower()
        self.why = next((why for words, why in _FAILURES if words in said), AWAY)


@contextmanager
def _failures_told() -> Iterator[None]:
    try:
        yield
    except DatabaseError as error:
        is_ours = isinstance(error, IntegrityError | ProgrammingError | DataError)
        if is_ours:
            raise
        raise DatabaseFailsError(error) from error


@dataclass
class _Writers:
    """One at a time, and which thread that is."""

    one: threading.Lock = field(default_factory=threading.Lock)
    thread: int | None = None


class Database:
    """Opens the sessions of one database; make one for each process.

    tells_changes  it tells every process of each change by itself (`changes.py`)
    acting         whose work its sessions do, for the logbook: in the `info` of each; empty where nobody said
    """

    acting = ""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._reading = _sqlite_engine(place) if isinstance(place, Path) else _postgresql_engine(place)
        self._writing = self._reading.execution_options(write=True)
        self.tells_changes = not isinstance(place, Path)
        self._writers = _Writers()

    def acted_on_by(self, who: str) -> "Database":
        """The same database for the work of one who asked."""
        same = copy(self)
        same.acting = who
        return same

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one moment and refuses to write. Raises DatabaseFailsError."""
        with _failures_told(), self._session(self._reading) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that commits at the end of the block, or changes nothing if the block raises.

        Raises DatabaseFailsError, also of the commit itself.
        """
        writers = self._writers
        if writers.thread == threading.get_ident():
            raise RuntimeError("a write inside a write: pass the session on instead of opening another")
        with writers.one:
            writers.thread = threading.get_ident()
            try:
                with _failures_told(), self._session(self._writing) as session:
                    yield session
                    session.commit()
            finally:
                writers.thread = None

    def _session(self, engine: Engine) -> Session:
        return Session(engine, expire_on_commit=False, info={"acting": self.acting})

    def forget(self) -> None:
        """Write a data file anew, so that nothing of what was deleted or replaced stays in its bytes.

        PostgreSQL does so in its own time (autovacuum). Raises DatabaseFailsError, with the data as they are.
        """
        if self.tells_changes:
            return
        with self._writers.one, _failures_told(), self._reading.connect() as connection:
            driver = connection.connection.driver_connection
            assert driver is not None
            try:
                driver.execute("pragma query_only=off")
                driver.execute("VACUUM")
                driver.execute("pragma wal_checkpoint(truncate)")
            except sqlite3.Error as error:
                raise DatabaseFailsError(error) from error

    @staticmethod
    def order(session: Session, field_day_id: int) -> int:
        """The order of what this session sees of a day: a message with a lower one is older."""
        newest = select(func.max(LogbookEntry.id)).where(col(LogbookEntry.field_day_id) == field_day_id)
        return session.exec(newest).one() or 0

    def close(self) -> None:
        self._reading.dispose()


def _sqlite_engine(file: Path) -> Engine:
    engine = create_engine(
        sqlite_url(file),
        pool_size=CONNECTIONS,
        max_overflow=MORE_CONNECTIONS,
        connect_args={"timeout": BUSY_TIMEOUT_S},
        hide_parameters=True,  # they can be private links: no error's text may hold them
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(driver_connection: Any, _record: object) -> None:
    driver_connection.isolation_level = None  # the driver starts no transactions of its own
    for pragma in (
        "journal_mode=wal",
        "synchronous=full",  # NORMAL may lose the last commits when the power fails
        "foreign_keys=on",
        "recursive_triggers=on",  # so that INSERT OR REPLACE cannot get round the triggers on history
    ):
        driver_connection.execute(f"pragma {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    write = _is_writing(connection)
    connection.exec_driver_sql(f"pragma query_only={'off' if write else 'on'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def _postgresql_engine(address: str) -> Engine:
    engine = create_engine(
        postgresql_url(address),
        pool_size=CONNECTIONS,
        max_overflow=MORE_CONNECTIONS,
        pool_pre_ping=True,
        hide_parameters=True,
    )
    event.listen(engine, "begin", _begin_postgresql)
    return engine


def _begin_postgresql(connection: Connection) -> None:
    if _is_writing(connection):
        # READ COMMITTED: each statement after the lock sees all that was committed before it.
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{BUSY_TIMEOUT_S}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def _is_writing(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get("write"))
