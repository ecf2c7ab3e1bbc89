"""The keeper of backups: after each publish and on its timer, and its trouble is told, never raised."""

import threading
from pathlib import Path

import pytest

from server.services.backups import BackupKeeper
from server.storage import backups
from server.storage.session import Database
from tests.factories import NOW, make_day

PATIENCE_S = 20
NEVER_S = 3600.0
OFTEN_S = 0.02


@pytest.fixture
def made(monkeypatch) -> threading.Semaphore:
    """Released after each try to make a backup, whatever came of it."""
    tries = threading.Semaphore(0)
    make = BackupKeeper._make
    monkeypatch.setattr(BackupKeeper, "_make", lambda self, file: (make(self, file), tries.release()))
    return tries


@pytest.fixture
def database(data_file: Path):
    """Open before the keeper, as a server's is, so that it is in write-ahead mode."""
    database = Database(data_file)
    with database.read() as session:
        Database.order(session, 1)
    yield database
    database.close()


@pytest.fixture
def keeper(database: Database, data_file: Path, tmp_path: Path, request):
    keeper = BackupKeeper(data_file, tmp_path / "backups", 5, getattr(request, "param", NEVER_S), lambda: NOW)
    keeper.open()
    yield keeper
    keeper.close()


def copies(tmp_path: Path) -> list[Path]:
    return backups.all_in(tmp_path / "backups")


def test_one_is_made_when_it_is_wished(keeper: BackupKeeper, made, tmp_path: Path):
    keeper.soon()
    assert made.acquire(timeout=PATIENCE_S)
    assert len(copies(tmp_path)) == 1


@pytest.mark.parametrize("keeper", [OFTEN_S], indirect=True)
def test_the_timer_makes_one_for_each_time_that_something_changed_and_none_else(
    keeper: BackupKeeper, made, database: Database, tmp_path: Path
):
    assert not made.acquire(timeout=10 * OFTEN_S)
    with database.write() as session:
        make_day(session)
    assert made.acquire(timeout=PATIENCE_S)
    assert not made.acquire(timeout=10 * OFTEN_S)
    assert len(copies(tmp_path)) == 1


def test_trouble_is_told_with_its_cure_and_gone_once_a_backup_is_made(
    keeper: BackupKeeper, made, tmp_path: Path
):
    (tmp_path / "backups").write_text("a file where the folder should be")
    keeper.soon()
    assert made.acquire(timeout=PATIENCE_S)
    assert keeper.trouble.startswith("No backup was made at ")
    assert (
        f"File exists. The day itself is saved as ever. Make room in {tmp_path / 'backups'}" in keeper.trouble
    )
    (tmp_path / "backups").unlink()
    keeper.soon()
    assert made.acquire(timeout=PATIENCE_S)
    assert keeper.trouble == ""


@pytest.mark.parametrize("keeper", [OFTEN_S], indirect=True)
def test_a_backup_that_failed_is_tried_again_by_the_timer(keeper: BackupKeeper, made, tmp_path: Path):
    (tmp_path / "backups").write_text("a file where the folder should be")
    keeper.soon()
    assert made.acquire(timeout=PATIENCE_S)
    (tmp_path / "backups").unlink()
    while keeper.trouble:
        assert made.acquire(timeout=PATIENCE_S)
    assert len(copies(tmp_path)) == 1


def test_a_postgresql_database_is_left_to_its_keeper(tmp_path: Path):
    keeper = BackupKeeper("postgresql://localhost/days", tmp_path / "backups", 5, OFTEN_S, lambda: NOW)
    keeper.open()
    keeper.soon()
    keeper.close()
    assert not (tmp_path / "backups").exists()
    assert keeper.trouble == ""
