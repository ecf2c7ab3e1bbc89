"""Migration at start: backup first, all or nothing, children kept, several processes at once."""

import multiprocessing
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.script import ScriptDirectory

from server import paths
from server.storage import days, migrate
from server.storage.session import Database
from tests.factories import make_day, make_pilot

RENAMES_DAYS_IN_BATCH = """
import sqlalchemy as sa
from alembic import op

revision = "9001"
down_revision = "{head}"


def upgrade():
    with op.batch_alter_table("field_day", recreate="always") as batch:
        batch.add_column(sa.Column("weather", sa.String(), nullable=True))
    with op.batch_alter_table("pilot", recreate="always") as batch:
        batch.add_column(sa.Column("weather", sa.String(), nullable=True))
"""

ADDS_A_COLUMN = """
import sqlalchemy as sa
from alembic import op

revision = "9001"
down_revision = "{head}"


def upgrade():
    op.add_column("field_day", sa.Column("weather", sa.String(), nullable=True))
"""

LEAVES_ORPHANS = """
from alembic import op

revision = "9001"
down_revision = "{head}"


def upgrade():
    op.execute("ALTER TABLE field_day ADD COLUMN weather TEXT")
    op.execute("DELETE FROM field_day")
"""


def head() -> str:
    return ScriptDirectory.from_config(migrate.configuration(paths.MIGRATIONS)).get_current_head()


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """A copy of the migrations, to which a test can add one."""
    return Path(shutil.copytree(paths.MIGRATIONS, tmp_path / "migra%tions"))


def add_revision(scripts: Path, text: str) -> None:
    (scripts / "versions" / "2026-12-01-0000_next.py").write_text(text.format(head=head()))


def rows(file: Path, query: str) -> list:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(query).fetchall()


@pytest.fixture
def file_with_a_pilot(data_file: Path) -> Path:
    database = Database(data_file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Wren")
    database.close()
    return data_file


def test_tables_and_migrations_agree(database: Database):
    config = migrate.configuration(paths.MIGRATIONS)
    with migrate.migration_engine(database.place).connect() as connection:
        config.attributes["connection"] = connection
        command.check(config)


def test_there_is_one_newest_revision():
    assert head()


def test_a_new_file_needs_no_backup(tmp_path: Path):
    file = tmp_path / "new folder" / "bandstand.sqlite"
    assert migrate.upgrade(file, paths.MIGRATIONS) is None
    assert [found.name for found in file.parent.iterdir()] == [file.name]


def test_an_up_to_date_file_is_left_alone(file_with_a_pilot: Path):
    before = sorted(file_with_a_pilot.parent.iterdir())
    assert migrate.upgrade(file_with_a_pilot, paths.MIGRATIONS) is None
    assert sorted(file_with_a_pilot.parent.iterdir()) == before


def test_a_migration_keeps_the_child_rows(file_with_a_pilot: Path, scripts: Path):
    add_revision(scripts, RENAMES_DAYS_IN_BATCH)
    migrate.upgrade(file_with_a_pilot, scripts)
    assert rows(file_with_a_pilot, "SELECT callsign, weather FROM pilot") == [("Wren", None)]
    assert rows(file_with_a_pilot, "SELECT count(*) FROM aircraft") == [(1,)]
    assert rows(file_with_a_pilot, "pragma foreign_key_check") == []


def test_the_backup_holds_what_was_there_even_if_only_in_the_log(data_file: Path, scripts: Path):
    """The database stays open, so that the last commits still stand in the write-ahead log."""
    database = Database(data_file)
    with database.write() as session:
        make_pilot(session, make_day(session), "Wren")
    add_revision(scripts, RENAMES_DAYS_IN_BATCH)
    backup = migrate.upgrade(data_file, scripts)
    database.close()
    assert backup.name.startswith(f"bandstand-before-{head()}-")
    assert rows(backup, "SELECT callsign FROM pilot") == [("Wren",)]
    assert rows(backup, "SELECT version_num FROM alembic_version") == [(head(),)]
    assert "weather" not in str(rows(backup, "SELECT sql FROM sqlite_master"))


def test_a_migration_that_leaves_orphans_changes_nothing(file_with_a_pilot: Path, scripts: Path):
    add_revision(scripts, LEAVES_ORPHANS)
    with pytest.raises(migrate.MigrationError, match="1 rows pointing at nothing, the first in pilot"):
        migrate.upgrade(file_with_a_pilot, scripts)
    assert rows(file_with_a_pilot, "SELECT version_num FROM alembic_version") == [(head(),)]
    assert "weather" not in str(rows(file_with_a_pilot, "SELECT sql FROM sqlite_master"))
    assert rows(file_with_a_pilot, "SELECT count(*) FROM field_day") == [(1,)]


def test_a_file_of_a_newer_version_is_refused_and_named(file_with_a_pilot: Path, scripts: Path):
    add_revision(scripts, RENAMES_DAYS_IN_BATCH)
    migrate.upgrade(file_with_a_pilot, scripts)
    with pytest.raises(migrate.MigrationError, match=r"bandstand\.sqlite was written by a newer Bandstand"):
        migrate.upgrade(file_with_a_pilot, paths.MIGRATIONS)


def test_a_newer_postgresql_database_is_refused_and_named_without_its_password(postgresql, scripts: Path):
    add_revision(scripts, ADDS_A_COLUMN)
    with postgresql.database() as address:
        migrate.upgrade(address, scripts)
        with pytest.raises(
            migrate.MigrationError, match=r"postgres:\*\*\*@.* was written by a newer Bandstand"
        ):
            migrate.upgrade(address.replace("postgres@", "postgres:secret@"), paths.MIGRATIONS)


def test_four_processes_may_start_at_once_on_an_empty_postgresql_database(postgresql):
    with postgresql.database(template="template0") as address:
        assert upgraded_together(address, paths.MIGRATIONS) == [None] * 4
        database = Database(address)
        with database.read() as session:
            assert days.newest_first(session) == []
        database.close()


def _upgrade_together(place: Path | str, scripts: Path, barrier, backups) -> None:
    barrier.wait(30)
    backups.put(migrate.upgrade(place, scripts))


def upgraded_together(place: Path | str, scripts: Path) -> list[Path | None]:
    """The backups of four processes that start at once, all of which must end well."""
    context = multiprocessing.get_context("spawn")
    barrier, backups = context.Barrier(4), context.Queue()
    processes = [
        context.Process(target=_upgrade_together, args=(place, scripts, barrier, backups)) for _ in range(4)
    ]
    for process in processes:
        process.start()
    made = [backups.get(timeout=60) for _ in processes]
    for process in processes:
        process.join(60)
    assert [process.exitcode for process in processes] == [0, 0, 0, 0]
    return made


@pytest.mark.parametrize("is_new", [True, False])
def test_four_processes_may_start_at_once(
    file_with_a_pilot: Path, scripts: Path, tmp_path: Path, is_new: bool
):
    file = tmp_path / "together.sqlite" if is_new else file_with_a_pilot
    if not is_new:
        add_revision(scripts, RENAMES_DAYS_IN_BATCH)
    made = upgraded_together(file, scripts)
    assert len([backup for backup in made if backup]) == (0 if is_new else 1)
    database = Database(file)
    with database.read() as session:
        assert len(days.newest_first(session)) == (0 if is_new else 1)
    database.close()
