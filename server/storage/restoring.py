"""Put a backup in the place of the data file: checked first, what it replaces is kept, all or nothing."""

import shutil
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from alembic.script import ScriptDirectory

from server.storage import backups, migrate

WRITE_AHEAD = ("-wal", "-shm")


class BackupError(Exception):
    """The file cannot be restored, in words; nothing was changed."""


def restore(backup: Path, file: Path, scripts: Path, at: datetime) -> Path | None:
    """Make the backup the data file, brought up to this version; returns where the replaced file is kept.

    The caller holds the data file's place as its only server. Raises BackupError or migrate.MigrationError for a
    backup that cannot be used, before anything is touched; OSError where there is no room for it.
    """
    if file.exists() and backup.exists() and backup.samefile(file):
        raise BackupError(f"{backup} is the data file itself: give a backup of it.")
    check(backup, scripts)
    prepared = file.with_name(file.name + backups.UNFINISHED)
    with suppress(FileNotFoundError):
        prepared.unlink()  # of a restore that was killed
    try:
        backups.write_copy(backup, prepared)
        migrate.upgrade(prepared, scripts, copy_first=False)
        check(prepared, scripts)
        replaced = _keep_what_is_replaced(file, at)
        backups.put_in_place(prepared, file)
    finally:
        prepared.unlink(missing_ok=True)
    return replaced


def check(file: Path, scripts: Path) -> None:
    """Raises BackupError unless the file is a sound data file of this version or an older one."""
    try:
        with file.open("rb") as opened:
            head = opened.read(16)
    except OSError as error:
        raise BackupError(f"{file} cannot be read: {error.strerror or error}.") from error
    if head != b"SQLite format 3\0":
        raise BackupError(f"{file} is no backup of Bandstand: it is not a data file at all.")
    try:
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            faults = [row[0] for row in connection.execute("pragma integrity_check(3)")]
            orphans = connection.execute("pragma foreign_key_check").fetchall()
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
            found = _revision(connection) if "alembic_version" in tables else None
    except sqlite3.DatabaseError as error:
        raise BackupError(_damaged(file, str(error))) from error
    if faults != ["ok"]:
        raise BackupError(_damaged(file, faults[0].splitlines()[-1]))
    if orphans:
        raise BackupError(
            _damaged(file, f"{len(orphans)} rows point at nothing, the first in {orphans[0][0]}")
        )
    if found is None or "field_day" not in tables:
        raise BackupError(f"{file} is no backup of Bandstand: it has no field days' tables.")
    migrate.refuse_newer(ScriptDirectory.from_config(migrate.configuration(scripts)), file, found)


def _revision(connection: sqlite3.Connection) -> str | None:
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return row[0] if row else None


def _damaged(file: Path, reason: str) -> str:
    return f"{file} is damaged ({reason}): choose another backup. The data file was not touched."


def _keep_what_is_replaced(file: Path, at: datetime) -> Path | None:
    """Copy the data file aside, also a damaged one, and leave no write-ahead log that a new file would inherit."""
    if not file.exists():
        return None
    kept = _free_name(file, at)
    try:
        backups.write_copy(file, kept)
        with closing(sqlite3.connect(file)) as connection:
            connection.execute("pragma journal_mode=delete")
    except sqlite3.Error:  # damaged: bytes as they are
        for end in ("", *WRITE_AHEAD):
            if (part := file.with_name(file.name + end)).exists():
                shutil.copyfile(part, kept.with_name(kept.name + end))
                backups.sync(kept.with_name(kept.name + end))
        backups.sync(kept.parent)
    for end in WRITE_AHEAD:
        file.with_name(file.name + end).unlink(missing_ok=True)
    backups.sync(file.parent)
    return kept


def _free_name(file: Path, at: datetime) -> Path:
    stem = f"{file.stem}-replaced-{at.astimezone(UTC).strftime('%Y%m%d-%H%M%S')}"
    names = (
        file.with_name(f"{stem}{f'-{number}' if number > 1 else ''}{file.suffix}")
        for number in range(1, 1000)
    )
    return next(name for name in names if not name.exists())
