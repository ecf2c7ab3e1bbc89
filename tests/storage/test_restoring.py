"""Restore: from every schema there ever was, and never from what is damaged, newer or something else."""

import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.script import ScriptDirectory

from server import paths
from server.storage import backups, migrate
from server.storage.restoring import BackupError, restore
from server.storage.session import Database
from tests.factories import NOW, make_day, make_pilot

REVISIONS = sorted(
    one.revision
    for one in ScriptDirectory.from_config(migrate.configuration(paths.MIGRATIONS)).walk_revisions()
)


def made_at(revision: str, file: Path) -> Path:
    """A data file as the version with this newest revision left it, with a row of each table of the first one."""
    config = migrate.configuration(paths.MIGRATIONS)
    engine = migrate.migration_engine(file)
    with engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        connection.commit()
    engine.dispose()
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("pragma journal_mode=wal")
        for table in ("field_day", "pilot", "aircraft", "draft", "published_plan", "logbook_entry"):
            _insert(connection, table)
        connection.commit()
    return file


SPECIAL = {"time_zone": "Europe/Dublin", "video": "analogue", "state": "checked in", "date": "2026-05-16"}


def _insert(connection: sqlite3.Connection, table: str) -> None:
    """Every column that must be filled gets what its type and name ask for; each parent row has the id 1."""
    row = {}
    for _, name, kind, is_needed, default, is_key in connection.execute(f"pragma table_info({table})"):
        if not is_needed or is_key or default is not None:
            continue
        numbers = kind.startswith(("INTEGER", "FLOAT", "BOOLEAN"))
        moment = "2026-05-16 09:30:00.000000" if kind.startswith("DATETIME") else f"{table} {name}"
        row[name] = SPECIAL.get(name, 1 if numbers else moment)
    marks = ", ".join("?" for _ in row)
    connection.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))


def callsigns(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as connection:
        return [row[0] for row in connection.execute("SELECT callsign FROM pilot ORDER BY id")]


@pytest.fixture
def file(data_file: Path) -> Path:
    """A data file with one pilot, Wren."""
    database = Database(data_file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Wren")
    database.close()
    return data_file


@pytest.fixture
def backup(file: Path, tmp_path: Path) -> Path:
    """A backup of that file, to which Otter came afterwards."""
    made = backups.make(file, tmp_path / "backups", 5, NOW)
    database = Database(file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Otter")
    database.close()
    return made


def test_the_replaced_file_is_kept(file: Path, backup: Path):
    replaced = restore(backup, file, paths.MIGRATIONS, NOW)
    assert callsigns(file) == ["Wren"]
    assert replaced.name == "bandstand-replaced-20260516-093000.sqlite"
    assert callsigns(replaced) == ["Wren", "Otter"]
    assert (
        restore(replaced, file, paths.MIGRATIONS, NOW).name == "bandstand-replaced-20260516-093000-2.sqlite"
    )
    assert callsigns(file) == ["Wren", "Otter"]


def test_what_stood_only_in_the_write_ahead_log_is_in_the_replaced_file_and_not_in_the_restored_one(
    file: Path, backup: Path
):
    """Copied while it is open, as a killed server leaves it."""
    database = Database(file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Rook")
    killed = file.parent / "killed"
    killed.mkdir()
    for part in file.parent.glob("bandstand.sqlite*"):
        shutil.copy(part, killed)
    database.close()
    replaced = restore(backup, killed / file.name, paths.MIGRATIONS, NOW)
    assert callsigns(replaced) == ["Wren", "Otter", "Rook"]
    assert callsigns(killed / file.name) == ["Wren"]


def test_a_backup_is_restored_where_the_data_file_is_lost_or_damaged(file: Path, backup: Path):
    file.write_bytes(file.read_bytes()[:1000] + b"x" * 3000)
    damaged = file.read_bytes()
    assert restore(backup, file, paths.MIGRATIONS, NOW).read_bytes() == damaged
    file.unlink()
    assert restore(backup, file, paths.MIGRATIONS, NOW + timedelta(hours=1)) is None
    assert callsigns(file) == ["Wren"]


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_backup_of_every_schema_is_restored_and_brought_up_to_date(revision: str, tmp_path: Path):
    old, file = made_at(revision, tmp_path / "old.sqlite"), tmp_path / "data" / "bandstand.sqlite"
    file.parent.mkdir()
    before = old.read_bytes()
    restore(old, file, paths.MIGRATIONS, NOW)
    assert callsigns(file) == ["pilot callsign"]
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (REVISIONS[-1],)
        assert connection.execute("SELECT snapshot_json FROM published_plan").fetchone() == (
            "published_plan snapshot_json",
        )
        with pytest.raises(sqlite3.IntegrityError, match="the logbook only grows"):
            connection.execute("DELETE FROM logbook_entry")
    assert old.read_bytes() == before
    assert [one.name for one in file.parent.iterdir()] == [file.name]


def refused(backup: Path, file: Path, words: str) -> None:
    before = {one.name: one.read_bytes() for one in file.parent.iterdir() if one.is_file()}
    with pytest.raises((BackupError, migrate.MigrationError), match=words):
        restore(backup, file, paths.MIGRATIONS, NOW)
    assert {one.name: one.read_bytes() for one in file.parent.iterdir() if one.is_file()} == before


def test_what_is_no_backup_is_refused_and_nothing_changes(file: Path, backup: Path, tmp_path: Path):
    refused(tmp_path / "nowhere.sqlite", file, r"nowhere\.sqlite cannot be read: No such file")
    refused(tmp_path, file, "cannot be read: Is a directory")
    text = tmp_path / "backups" / "letter.txt"
    text.write_text("SQLite would be nice")
    refused(text, file, "it is not a data file at all")
    refused(file, file, "is the data file itself")


def test_another_programs_data_file_is_refused(file: Path, tmp_path: Path):
    other = tmp_path / "backups" / "other.sqlite"
    other.parent.mkdir()
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE songs (name TEXT)")
    refused(other, file, "it has no field days' tables")


def test_a_damaged_backup_is_refused(file: Path, backup: Path):
    whole = backup.read_bytes()
    backup.write_bytes(whole[: len(whole) // 2])
    refused(backup, file, r"is damaged \(.*\): choose another backup")
    backup.write_bytes(whole[:8192] + b"\xff" * 4096 + whole[12288:])
    refused(backup, file, r"is damaged \(.*\): choose another backup")


def test_a_backup_whose_rows_point_at_nothing_is_refused(file: Path, backup: Path):
    with closing(sqlite3.connect(backup)) as connection:
        connection.execute("DELETE FROM field_day")
        connection.commit()
    refused(backup, file, r"1 rows point at nothing, the first in pilot")


def test_a_backup_of_a_newer_version_is_refused(file: Path, backup: Path):
    with closing(sqlite3.connect(backup)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    refused(backup, file, r"was written by a newer Bandstand \(revision 9999\)")
