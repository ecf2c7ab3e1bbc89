"""`bandstand backup` and `restore`: the data file as a whole; `export` and `import`: one day as one file."""

import argparse
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from server.cli_run import add_settings_options, with_settings
from server.settings import Settings

if TYPE_CHECKING:
    from server.storage.session import Database

# Imported where it is needed: see server/cli_run.py.


def add_data_parsers(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    backup = commands.add_parser(
        "backup",
        help="copy the data file, also beside a running server",
        description="Copy the data file whole, also beside a running server, into the folder of backups.",
    )
    backup.add_argument("file", nargs="?", type=Path, metavar="FILE", help="where to; must not exist yet")
    add_settings_options(backup, "data", "backups")
    backup.set_defaults(
        run=lambda chosen: with_settings(lambda settings: _backup(settings, chosen.file))(chosen)
    )
    restore = commands.add_parser(
        "restore",
        help="put a backup in the place of the data file",
        description="Check a backup and put it in the place of the data file, which is kept under another "
        "name. A backup of an older version is brought up to this one. No server may run on the data file.",
    )
    restore.add_argument("file", type=Path, metavar="FILE", help="a backup")
    add_settings_options(restore, "data")
    restore.set_defaults(
        run=lambda chosen: with_settings(lambda settings: _restore(settings, chosen.file))(chosen)
    )
    export = commands.add_parser(
        "export",
        help="write a field day as one file",
        description="Write all of one field day as JSON, to move it to another machine. "
        "It holds names and the pilots' private links: keep it as you keep the data file.",
    )
    export.add_argument("code", metavar="CODE", help="the four letters of the day")
    add_settings_options(export, "data")
    export.set_defaults(
        run=lambda chosen: with_settings(lambda settings: _export(settings, chosen.code))(chosen)
    )
    bring_in = commands.add_parser(
        "import",
        help="bring in a field day that was exported",
        description="Bring in a field day from the file that `export` wrote, beside the days that are here.",
    )
    bring_in.add_argument("file", type=Path, metavar="FILE", help="the file of a day")
    bring_in.add_argument(
        "--club", metavar="NAME", default="", help="whose day, where there are several clubs"
    )
    add_settings_options(bring_in, "data")
    bring_in.set_defaults(
        run=lambda chosen: with_settings(lambda settings: _import(settings, chosen.file, chosen.club))(chosen)
    )


def _backup(configured: Settings, wanted: Path | None) -> None:
    from server.serving import CannotServeError, check_data_file, data_in_use
    from server.storage import backups

    file = _data_file(configured, "pg_dump")
    check_data_file(configured)
    if wanted is not None and wanted.exists():
        raise CannotServeError(f"{wanted} exists already: give a new name.")
    with data_in_use(configured):
        try:
            if wanted is None:
                made = backups.make(
                    file, configured.backup_folder, configured.backups_kept, datetime.now(UTC)
                )
            else:
                backups.write_copy(file, wanted)
                made = wanted
        except (OSError, sqlite3.Error) as error:
            reason = getattr(error, "strerror", None) or error
            raise CannotServeError(
                f"No backup was made: {reason}. The data file {file} is as it was."
            ) from error
    print(f"Backup: {made}\nIt holds names and the pilots' private links: keep it as you keep the data file.")


def _restore(configured: Settings, backup: Path) -> None:
    from server import paths
    from server.serving import CannotServeError, data_in_use
    from server.storage.one_server import only_server
    from server.storage.restoring import BackupError, restore

    file = _data_file(configured, "pg_restore")
    with data_in_use(configured), only_server(file):
        try:
            replaced = restore(backup, file, paths.MIGRATIONS, datetime.now(UTC))
        except BackupError as error:
            raise CannotServeError(str(error)) from error
    print(f"Restored: {file}, as it was in {backup}")
    if replaced:
        print(f"Replaced: what stood there is kept as {replaced}")


def _data_file(configured: Settings, program: str) -> Path:
    from server.serving import CannotServeError

    if not isinstance(configured.place, Path):
        raise CannotServeError(
            f"The days are in a PostgreSQL database: whoever keeps it saves it with {program}. "
            "A single day moves with `bandstand export` and `bandstand import`."
        )
    return configured.place


def _export(configured: Settings, code: str) -> None:
    from server.services import day_files
    from server.services.days import typed_code
    from server.services.errors import NotFoundError
    from server.serving import CannotServeError, check_data_file

    check_data_file(configured)
    with _days_of(configured) as database:
        try:
            with database.read() as session:
                content = day_files.export(session, typed_code(code))
        except NotFoundError as error:
            raise CannotServeError(str(error)) from error
    sys.stdout.buffer.write(content)


def _import(configured: Settings, file: Path, club: str) -> None:
    from server.services import clubs, day_files, day_imports
    from server.services.errors import ServiceError
    from server.serving import CannotServeError

    try:
        data = file.read_bytes()
    except OSError as error:
        raise CannotServeError(f"{file} cannot be read: {error.strerror or error}.") from error
    with _days_of(configured) as database:
        try:
            content = day_files.read(data, file.name)
            with database.write() as session:
                club_id = clubs.club_named(session, club).id or 0
                brought = day_imports.bring_in(session, club_id, content, file.name, datetime.now(UTC))
        except ServiceError as error:
            raise CannotServeError(str(error)) from error
    print(f"{brought.words()}\nIts code: {brought.day.code}")


@contextmanager
def _days_of(configured: Settings) -> "Iterator[Database]":
    from server import paths
    from server.serving import data_in_use
    from server.storage import migrate
    from server.storage.session import Database

    with data_in_use(configured):
        migrate.upgrade(configured.place, paths.MIGRATIONS)
        database = Database(configured.place)
        try:
            yield database
        finally:
            database.close()
