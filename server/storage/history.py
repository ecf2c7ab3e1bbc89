"""The one way past the guards of history: to take a person's name out of it.

In the transaction of the change itself the triggers that refuse an UPDATE are taken away and put back, so nobody
ever sees the tables without them, and if anything fails nothing was done. No row is deleted or added.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import text, update
from sqlmodel import Session

from server.storage.day_rows import TABLES

GUARDED = ("published_plan", "logbook_entry")


@contextmanager
def rewriting(session: Session) -> Iterator[None]:
    """Until the end of the block published plans and logbook can be changed, by this transaction alone."""
    connection = session.connection()
    if connection.dialect.name == "postgresql":
        for table in GUARDED:
            connection.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER {table}_refuses_update"))
        yield
        session.flush()
        for table in GUARDED:
            connection.execute(text(f"ALTER TABLE {table} ENABLE TRIGGER {table}_refuses_update"))
        return
    guards = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name = :name"
    found = [connection.execute(text(guards), {"name": f"{table}_refuses_update"}).one() for table in GUARDED]
    for name, _sql in found:
        connection.execute(text(f"DROP TRIGGER {name}"))
    yield
    session.flush()
    for _name, sql in found:
        connection.exec_driver_sql(sql)


def rewrite(session: Session, name: str, row_id: int, values: Mapping[str, Any]) -> None:
    """Change columns of one row of a day, whatever its table; no version is counted up."""
    table = TABLES[name].__table__  # type: ignore[attr-defined]
    session.execute(update(table).where(table.c.id == row_id).values(**values))
