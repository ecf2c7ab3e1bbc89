"""The transaction recipe: who reads never waits, who writes never loses an update.

SQLite's default driver mode starts no transaction at a SELECT, so two read-change-write rounds silently lose
one of the changes. Here a reader begins a plain transaction on a connection that refuses writes, and a writer
begins IMMEDIATE, so that what it reads is still true when it writes. Writers also queue at a lock of the
process: SQLite's own waiting is unfair and lets single writers wait for a second.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, create_engine, event, func
from sqlmodel import Session, col, select

from server.storage.tables import LogbookEntry

BUSY_TIMEOUT_S = 5


def sqlite_url(file: Path) -> URL:
    return URL.create("sqlite", database=str(file))


class Database:
    """Opens the sessions of one SQLite file; make one for each process."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._reading = create_engine(
            sqlite_url(file), pool_size=20, max_overflow=20, connect_args={"timeout": BUSY_TIMEOUT_S}
        )
        event.listen(self._reading, "connect", _prepare_connection)
        event.listen(self._reading, "begin", _begin)
        self._writing = self._reading.execution_options(write=True)
        self._one_writer = threading.Lock()
        self._writer: int | None = None

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one moment and refuses to write."""
        with Session(self._reading, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that commits at the end of the block, or changes nothing if the block raises."""
        if self._writer == threading.get_ident():
            raise RuntimeError("a write inside a write: pass the session on instead of opening another")
        with self._one_writer:
            self._writer = threading.get_ident()
            try:
                with Session(self._writing, expire_on_commit=False) as session:
                    yield session
                    session.commit()
            finally:
                self._writer = None

    @staticmethod
    def order(session: Session, field_day_id: int) -> int:
        """The order of what this session sees of a day: a message with a lower one is older."""
        newest = select(func.max(LogbookEntry.id)).where(col(LogbookEntry.field_day_id) == field_day_id)
        return session.exec(newest).one() or 0

    def close(self) -> None:
        self._reading.dispose()


def _prepare_connection(driver_connection: Any, _record: object) -> None:
    driver_connection.isolation_level = None  # the driver starts no transactions of its own
    for pragma in (
        "journal_mode=wal",
        "synchronous=full",  # NORMAL may lose the last commits when the power fails
        "foreign_keys=on",
        "recursive_triggers=on",  # so that INSERT OR REPLACE cannot get round the triggers on history
    ):
        driver_connection.execute(f"pragma {pragma}")


def _begin(connection: Connection) -> None:
    write = connection.get_execution_options().get("write")
    connection.exec_driver_sql(f"pragma query_only={'off' if write else 'on'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
