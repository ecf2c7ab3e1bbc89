"""`bandstand backup` and `restore` as their users meet them."""

import sqlite3
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from server import paths
from server.storage import backups, migrate
from server.storage.session import Database
from tests.factories import make_day
from tests.test_serving import address_in, done, running


def day_in(folder: Path, code: str) -> Path:
    file = folder / "bandstand.sqlite"
    migrate.upgrade(file, paths.MIGRATIONS)
    database = Database(file)
    with database.write() as session:
        make_day(session, code=code)
    database.close()
    return file


def codes(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as connection:
        return [row[0] for row in connection.execute("SELECT code FROM field_day ORDER BY id")]


def test_a_backup_is_made_beside_a_running_server_and_restored_only_without_one(tmp_path: Path):
    file = day_in(tmp_path, "tern")
    with running(tmp_path) as (_, said):
        made = done("backup", "--data", tmp_path)
        copy = backups.all_in(tmp_path / "backups")[0]
        assert made.stdout.startswith(f"Backup: {copy}\n")
        refused = done("restore", copy, "--data", tmp_path)
        assert refused.returncode == 2
        assert refused.stderr.startswith(f"{file} is served already by another Bandstand. Stop that one")
        assert httpx.get(address_in(said) + "/health").status_code == 200
    day_in(tmp_path, "heron")
    restored = done("restore", copy, "--data", tmp_path)
    assert restored.stdout.splitlines()[0] == f"Restored: {file}, as it was in {copy}"
    assert "is kept as" in restored.stdout
    assert codes(file) == ["tern"]


def test_a_backup_goes_to_the_file_that_is_named_and_never_over_another(tmp_path: Path):
    day_in(tmp_path, "tern")
    copy = tmp_path / "stick.sqlite"
    assert done("backup", copy, "--data", tmp_path).returncode == 0
    assert codes(copy) == ["tern"]
    again = done("backup", copy, "--data", tmp_path)
    assert (again.returncode, again.stderr) == (2, f"{copy} exists already: give a new name.\n")


def test_what_cannot_be_done_is_said_in_words(tmp_path: Path):
    day_in(tmp_path, "tern")
    nowhere = done("backup", tmp_path / "nowhere" / "copy.sqlite", "--data", tmp_path)
    assert nowhere.stderr.startswith("No backup was made: unable to open database file.")
    (tmp_path / "letter.txt").write_text("hello")
    refused = done("restore", tmp_path / "letter.txt", "--data", tmp_path)
    assert (refused.returncode, refused.stderr.count("Traceback")) == (2, 0)
    assert "letter.txt is no backup of Bandstand" in refused.stderr


@pytest.mark.parametrize(
    "command",
    [
        ("backup",),
        ("export", "tern"),
        ("club", "list"),
        ("club", "add", "Curlew Moor"),
        ("organizer", "reset"),
    ],
)
def test_a_mistyped_data_folder_is_told_and_nothing_is_made_there(tmp_path: Path, command):
    refused = done(*command, "--data", tmp_path / "dta")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr.startswith(
        f"There is no data file {tmp_path / 'dta' / 'bandstand.sqlite'}. Name the"
    )
    assert "`bandstand run` makes a new one" in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_postgresql_database_is_left_to_its_keeper(monkeypatch, tmp_path: Path):
    monkeypatch.setenv("BANDSTAND_DATABASE", "postgresql://nobody@localhost/days")
    for command in (("backup",), ("restore", "any.sqlite")):
        refused = done(*command, "--data", tmp_path)
        assert refused.returncode == 2
        assert "whoever keeps it saves it with pg_" in refused.stderr


def test_a_day_moves_to_another_machine(tmp_path: Path):
    here, there, file = tmp_path / "here", tmp_path / "there", tmp_path / "tern.json"
    day_in(here, "tern")
    exported = done("export", "tern", "--data", here)
    assert exported.returncode == 0
    file.write_text(exported.stdout, "utf-8")
    brought = done("import", file, "--data", there)
    assert brought.stdout == "Brought in the field day Tern Meadow club day of 2026-05-16.\nIts code: tern\n"
    assert done("export", "tern", "--data", there).stdout == exported.stdout
    again = done("import", file, "--data", there)
    assert "Another day here has the code tern" in again.stdout
    assert len(codes(there / "bandstand.sqlite")) == 2


def test_a_day_that_cannot_be_moved_is_told_in_words(tmp_path: Path):
    day_in(tmp_path, "tern")
    missing = done("export", "hern", "--data", tmp_path)
    assert (missing.returncode, missing.stdout) == (2, "")
    assert missing.stderr == "There is no field day with the code hern.\n"
    nowhere = done("import", tmp_path / "nowhere.json", "--data", tmp_path)
    assert nowhere.stderr == f"{tmp_path / 'nowhere.json'} cannot be read: No such file or directory.\n"
    (tmp_path / "half.json").write_text('{"format": "band')
    half = done("import", tmp_path / "half.json", "--data", tmp_path)
    assert (half.returncode, half.stderr.count("Traceback")) == (2, 0)
    assert half.stderr.startswith("“half.json” is no field day of Bandstand, or only a part of one")
    assert codes(tmp_path / "bandstand.sqlite") == ["tern"]
