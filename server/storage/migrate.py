"""Bring a database up to this version's tables, a data file after a backup copy of what it was.

Several processes may start at once: each takes the writers' lock before it looks at the revision, so one
migrates and the others then find nothing to do. All revisions go in one transaction: all or none.
"""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool
from sqlmodel import Session

from server.storage import backups
from server.storage.session import WRITERS, Place, postgresql_url, shown, sqlite_url

WAIT_FOR_OTHERS_S = 60


class MigrationError(Exception):
    """The data file cannot be brought to this version; nothing in it was changed."""


def upgrade(place: Place, scripts: Path, copy_first: bool = True) -> Path | None:
    """Upgrade to the newest revision; returns the backup copy of a data file, None if none was needed.

    copy_first  False for a file that is a copy itself

    A PostgreSQL database is not copied: that is its keeper's task, and a failed migration leaves it as it was.
    Raises MigrationError if it is newer than this version or a row would point at nothing afterwards.
    """
    if isinstance(place, Path):
        place.parent.mkdir(parents=True, exist_ok=True)
    config = configuration(scripts)
    revisions = ScriptDirectory.from_config(config)
    newest = revisions.get_current_head()
    engine = migration_engine(place)
    try:
        with engine.connect() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
            if found == newest:
                return None
            refuse_newer(revisions, place, found)
            backup = None
            if copy_first and found and isinstance(place, Path):
                backup = _backup_copy(place, found)
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            if isinstance(place, Path):
                _refuse_orphans(connection)
            connection.commit()
            return backup
    finally:
        engine.dispose()


def newest_revision(scripts: Path) -> str | None:
    """The revision of this version's tables."""
    return ScriptDirectory.from_config(configuration(scripts)).get_current_head()


def revision_of(session: Session) -> str | None:
    """The revision of a database's tables."""
    return MigrationContext.configure(session.connection()).get_current_revision()


def configuration(scripts: Path) -> Config:
    """Alembic's configuration without its file."""
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def migration_engine(place: Place) -> Engine:
    """Connections whose transactions begin as the only writer's."""
    return _sqlite_engine(place) if isinstance(place, Path) else _postgresql_engine(place)


def _sqlite_engine(file: Path) -> Engine:
    """Begins IMMEDIATE, and leaves foreign keys unenforced until the end of the migration."""
    engine = create_engine(sqlite_url(file), poolclass=NullPool, connect_args={"timeout": WAIT_FOR_OTHERS_S})

    @event.listens_for(engine, "connect")
    def prepare(driver_connection: Any, _record: object) -> None:
        driver_connection.isolation_level = None
        # Off, since a batch change drops and remakes a table, and ON DELETE CASCADE would take the children.
        driver_connection.execute("pragma foreign_keys=off")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _postgresql_engine(address: str) -> Engine:
    engine = create_engine(postgresql_url(address), poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{WAIT_FOR_OTHERS_S}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")

    return engine


def refuse_newer(revisions: ScriptDirectory, place: Place, found: str | None) -> None:
    """Raises MigrationError for a revision that this version does not know."""
    known = {script.revision for script in revisions.walk_revisions()}
    if found and found not in known:
        raise MigrationError(
            f"{shown(place)} was written by a newer Bandstand (revision {found}). "
            "Start that version, or choose another data folder."
        )


def _backup_copy(file: Path, found: str) -> Path:
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
    copy = file.with_name(f"{file.stem}-before-{found}-{stamp}{file.suffix}")
    backups.write_copy(file, copy)
    return copy


def _refuse_orphans(connection: Connection) -> None:
    orphans = connection.exec_driver_sql("pragma foreign_key_check").all()
    if orphans:
        raise MigrationError(
            f"the upgrade would leave {len(orphans)} rows pointing at nothing, the first in {orphans[0][0]}"
        )
