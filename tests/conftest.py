import os
import random
import shutil
import socket
import sys
from pathlib import Path

import hypothesis
import numpy
import pytest

from server import paths
from server.storage import migrate
from server.storage.session import Database

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


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty data file as the migrations make it."""
    file = tmp_path_factory.mktemp("migrated") / "bandstand.sqlite"
    migrate.upgrade(file, paths.MIGRATIONS)
    return file


@pytest.fixture
def database(migrated_file: Path, tmp_path: Path):
    """A database of the test's own."""
    file = shutil.copy(migrated_file, tmp_path / "bandstand.sqlite")
    database = Database(Path(file))
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
