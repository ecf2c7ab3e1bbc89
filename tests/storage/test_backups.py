"""Copies of the data file: whole, in order of making, and no more than the rule keeps."""

import errno
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from server.storage import backups
from server.storage.session import Database
from tests.factories import NOW, make_day, make_pilot


def callsigns(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as connection:
        return [row[0] for row in connection.execute("SELECT callsign FROM pilot ORDER BY id")]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "backups"


def make_files(folder: Path, *stamps: str) -> None:
    folder.mkdir(exist_ok=True)
    for stamp in stamps:
        (folder / f"bandstand-{stamp}.sqlite").touch()


def names(folder: Path) -> list[str]:
    return [copy.stem.removeprefix("bandstand-") for copy in backups.all_in(folder)]


def test_a_copy_holds_what_stands_in_the_write_ahead_log_only_while_somebody_writes(
    data_file: Path, folder: Path
):
    database = Database(data_file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Wren")
    with database.write() as session:
        make_pilot(session, make_day(session), "Otter")
        session.flush()
        copy = backups.make(data_file, folder, 20, NOW)
    database.close()
    assert callsigns(copy) == ["Wren"]
    assert [one.name for one in folder.iterdir()] == ["bandstand-20260516-093000.sqlite"]


def test_the_newest_are_kept_and_the_last_one_of_each_of_the_days_before(folder: Path):
    make_files(
        folder, "20260514-080000", "20260514-090000", "20260515-080000", "20260515-090000", "20260516-100000"
    )
    backups.thin(folder, 1)
    assert names(folder) == ["20260516-100000", "20260515-090000", "20260514-090000"]


def test_days_with_a_copy_are_kept_for_fourteen(folder: Path):
    make_files(folder, *(f"202605{day:02}-080000" for day in range(1, 21)))
    backups.thin(folder, 2)
    assert names(folder) == [f"202605{day:02}-080000" for day in range(20, 6, -1)]


def test_a_clock_that_was_set_back_does_not_make_the_newest_copy_old(data_file: Path, folder: Path):
    backups.make(data_file, folder, 1, NOW)
    made = backups.make(data_file, folder, 1, NOW - timedelta(hours=3))
    assert made.name == "bandstand-20260516-093001.sqlite"
    assert backups.all_in(folder) == [made]


def test_a_copy_that_a_killed_process_left_half_written_is_cleared_away(data_file: Path, folder: Path):
    folder.mkdir()
    (folder / "bandstand-20260516-080000.sqlite.part").write_bytes(b"half")
    backups.make(data_file, folder, 1, NOW)
    assert [one.suffix for one in folder.iterdir()] == [".sqlite"]


def test_what_is_no_copy_of_ours_is_left_alone(data_file: Path, folder: Path):
    folder.mkdir()
    (folder / "bandstand-of-last-year.sqlite").touch()
    backups.make(data_file, folder, 1, NOW)
    assert (folder / "bandstand-of-last-year.sqlite").exists()


def test_no_copy_takes_the_room_that_the_day_needs(data_file: Path, folder: Path, monkeypatch):
    left = data_file.stat().st_size + backups.ROOM_LEFT_BYTES
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": left - 1}))
    with pytest.raises(OSError, match="No space left on device") as refused:
        backups.make(data_file, folder, 1, NOW)
    assert refused.value.errno == errno.ENOSPC
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": left}))
    assert backups.make(data_file, folder, 1, NOW).exists()


def test_a_copy_that_fails_leaves_nothing(tmp_path: Path):
    (tmp_path / "broken.sqlite").write_bytes(b"SQLite format 3\0" + bytes(4000))
    with pytest.raises(sqlite3.DatabaseError):
        backups.write_copy(tmp_path / "broken.sqlite", tmp_path / "copy.sqlite")
    assert [one.name for one in tmp_path.iterdir()] == ["broken.sqlite"]


def test_changes_are_noticed_whoever_makes_them(data_file: Path):
    changes, database = backups.Changes(data_file), Database(data_file)
    assert not changes.any()
    with database.write() as session:
        make_day(session)
    assert changes.any()
    changes.note()
    assert not changes.any()
    with database.read() as session:
        Database.order(session, 1)
    assert not changes.any()
    changes.close()
    database.close()
