"""A PostgreSQL server for tests: on loopback, in a folder of its own, gone when the tests are.

It forgets about the disk (fsync=off): what is tested is the program, not the server's promises.
"""

import itertools
import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from server import paths
from server.storage import migrate
from server.storage.session import postgresql_url
from tests.ports import free_port

TEMPLATE = "as_migrated"


@dataclass
class PostgresqlServer:
    port: int
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def address(self, database: str) -> str:
        return f"postgresql://postgres@127.0.0.1:{self.port}/{database}"

    def make_template(self) -> None:
        self.run(f"CREATE DATABASE {TEMPLATE}")
        migrate.upgrade(self.address(TEMPLATE), paths.MIGRATIONS)

    @contextmanager
    def database(self, template: str = TEMPLATE) -> Iterator[str]:
        """The address of a new database, dropped afterwards."""
        name = f"of_test_{next(self.numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template}")
        yield self.address(name)
        self.run(f"DROP DATABASE {name} WITH (FORCE)")

    def run(self, statement: str) -> None:
        engine = create_engine(
            postgresql_url(self.address("postgres")), poolclass=NullPool, isolation_level="AUTOCOMMIT"
        )
        with engine.connect() as connection:
            connection.execute(text(statement))


@contextmanager
def postgresql_server() -> Iterator[PostgresqlServer]:
    """Start one, stop it at the end; PostgreSQL must be installed."""
    # Not in pytest's own folders: those are closed to other users, and PostgreSQL must not run as root.
    with TemporaryDirectory(prefix="bandstand-postgresql-") as folder:
        yield from _served(Path(folder))


def _served(folder: Path) -> Iterator[PostgresqlServer]:
    programs, data, port = installed_at(), folder / "data", free_port()
    assert programs
    as_owner = _as_unprivileged_user(folder)
    options = (
        f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories= "
        "-c fsync=off -c synchronous_commit=off -c full_page_writes=off"
    )
    _run(
        [
            *as_owner,
            programs / "initdb",
            "-D",
            data,
            "-U",
            "postgres",
            "-A",
            "trust",
            "--no-sync",
            "-E",
            "UTF8",
        ]
    )
    control = [*as_owner, programs / "pg_ctl", "-D", data]
    _run([*control, "-w", "-l", folder / "log", "-o", options, "start"])
    try:
        yield PostgresqlServer(port)
    finally:
        _run([*control, "-m", "immediate", "stop"])


def installed_at() -> Path | None:
    """The folder of PostgreSQL's programs. Debian keeps them off the PATH, a folder for each version."""
    if on_path := shutil.which("initdb"):
        return Path(on_path).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return found[-1].parent if found else None


def _as_unprivileged_user(folder: Path) -> list[str]:
    """Who is to own the server: it refuses to run as root, and gets the folder for its own user then."""
    if os.geteuid() != 0:
        return []
    owner = pwd.getpwnam("postgres")
    os.chown(folder, owner.pw_uid, owner.pw_gid)
    return ["runuser", "-u", "postgres", "--"]


def _run(command: list[str | Path]) -> None:
    done = subprocess.run(command, cwd="/", capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{command[-1]} failed: {done.stderr or done.stdout}")
