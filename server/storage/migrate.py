"""Bring a data file up to this version's tables, after a backup copy of what it was.

Several processes may start at once: each takes SQLite's write lock before it looks at the file's revision, so
one migrates and the others then find nothing to do. All revisions go in one transaction: all or none.
"""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from server.storage.session import sqlite_url

WAIT_FOR_OTHERS_S = 60


class MigrationError(Exception):
    """The data file cannot be brought to this version; nothing in it was changed."""


def upgrade(file: Path, scripts: Path) -> Path | None:
    """Upgrade the data file to the newest revision; returns the backup copy, None if none was needed.

    Raises MigrationError if the file is newer than this version or a row would point at nothing afterwards.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    config = configuration(scripts)
    newest = ScriptDirectory.from_config(config).get_current_head()
    engine = migration_engine(file)
    try:
        with engine.connect() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
            if found == newest:
                return None
            _refuse_newer(config, file, found)
            backup = _backup_copy(file, found) if found else None
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            _refuse_orphans(connection)
            connection.commit()
            return backup
    finally:
        engine.dispose()


def configuration(scripts: Path) -> Config:
    """Alembic's configuration without its file."""
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def migration_engine(file: Path) -> Engine:
    """Connections that begin IMMEDIATE and leave foreign keys unenforced until the end of the migration."""
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


def _refuse_newer(config: Config, file: Path, found: str | None) -> None:
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found and found not in known:
        raise MigrationError(
            f"{file} was written by a newer Bandstand (revision {found}). "
            "Start that version, or choose another data folder."
        )


def _backup_copy(file: Path, found: str) -> Path:
    """Copy through SQLite itself, so that what still stands in the write-ahead log is in the copy too."""
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
    copy = file.with_name(f"{file.stem}-before-{found}-{stamp}{file.suffix}")
    unfinished = copy.with_name(copy.name + ".part")
    with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(unfinished)) as target:
        source.backup(target)
    unfinished.replace(copy)
    return copy


def _refuse_orphans(connection: Connection) -> None:
    orphans = connection.exec_driver_sql("pragma foreign_key_check").all()
    if orphans:
        raise MigrationError(
            f"the upgrade would leave {len(orphans)} rows pointing at nothing, the first in {orphans[0][0]}"
        )
