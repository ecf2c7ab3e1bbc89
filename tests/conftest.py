import json
import os
import random
import shutil
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import numpy
import pytest

from server import paths
from server.storage import migrate, published_plans
from server.storage.session import Database
from tests.postgresql_server import installed_at, postgresql_server

ON_POSTGRESQL = os.environ.get("BANDSTAND_TESTS_ON") == "postgresql"

hypothesis.settings.register_profile("fixed", derandomize=True, deadline=None)
hypothesis.settings.load_profile("fixed")


def _refuse_the_network(event: str, args: tuple) -> None:
    if event == "socket.connect" and isinstance(args[1], tuple) and args[0].type != socket.SOCK_DGRAM:
        host = str(args[1][0])  # connecting a datagram socket sends nothing
        if not host.startswith("127.") and host not in ("::1", "localhost"):
            raise RuntimeError(f"a test went out to the network: {host}")


sys.addaudithook(_refuse_the_network)


@pytest.fixture(autouse=True)
def _fixed_seeds() -> None:
    random.seed(1)
    numpy.random.seed(1)


@pytest.fixture(autouse=True)
def _shared_facts_stay(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """What published plans say is shared by all who read it: no test may find it changed."""
    read: dict[str, dict] = {}
    kept = published_plans.facts_of
    kept.cache_clear()

    def noted(snapshot_json: str) -> dict:
        return read.setdefault(snapshot_json, kept(snapshot_json))

    monkeypatch.setattr(published_plans, "facts_of", noted)
    yield
    assert [facts for snapshot_json, facts in read.items() if json.loads(snapshot_json) != facts] == []


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty data file as the migrations make it."""
    file = tmp_path_factory.mktemp("migrated") / "bandstand.sqlite"
    migrate.upgrade(file, paths.MIGRATIONS)
    return file


@pytest.fixture(scope="session")
def postgresql():
    """A PostgreSQL server of the test process's own, with an empty database as the migrations make it."""
    if not installed_at():
        pytest.skip("no PostgreSQL is installed here (Debian: the package postgresql)")
    with postgresql_server() as server:
        server.make_template()
        yield server


@pytest.fixture
def data_file(migrated_file: Path, tmp_path: Path) -> Path:
    """An empty data file of the test's own."""
    return Path(shutil.copy(migrated_file, tmp_path / "bandstand.sqlite"))


@pytest.fixture
def place(request: pytest.FixtureRequest) -> Iterator[Path | str]:
    """Where the test's own days are kept: a data file, or PostgreSQL where BANDSTAND_TESTS_ON says so."""
    if ON_POSTGRESQL:
        with request.getfixturevalue("postgresql").database() as address:
            yield address
    else:
        yield request.getfixturevalue("data_file")


@pytest.fixture
def database(place: Path | str):
    """A database of the test's own."""
    database = Database(place)
    yield database
    database.close()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item):
    """Where EVERY_TEST_MUST_RUN is set a skipped test is a failed one."""
    report = yield
    if report.skipped and os.environ.get("EVERY_TEST_MUST_RUN"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, but every test must run: {report.longrepr}"
    return report
