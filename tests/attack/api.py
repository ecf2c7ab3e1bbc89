"""Every operation of the application called with generated input, in the process, on a busy field."""

import shutil
import sqlite3
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import urlencode

import hypothesis
from fastapi import FastAPI
from httpx2 import Response
from hypothesis import strategies
from hypothesis.strategies import SearchStrategy
from schemathesis.generation.case import Case
from schemathesis.schemas import APIOperation
from starlette.testclient import TestClient

from server import paths
from server.main import create_app
from server.services import access
from server.services.jobs import Jobs
from server.services.roles import ORGANIZER
from server.settings import Settings
from server.storage import migrate
from server.storage.session import Database
from tests.attack.busy_field import IN_MEMORY, fill
from tests.attack.operations import (
    ANY,
    FILES,
    FILLED_IN,
    FORM,
    MEDDLED_WITH,
    document,
    forms_of,
    operations,
)
from tests.factories import NOW, make_signed_in
from tests.services.planned_days import tiny_plan
from tests.waiting import until
from tests.web.conftest import ADDRESS, give_cookie

DATA_FILE = "bandstand.sqlite"
COUNTS_TRIES = "/sign-in"
"""The one address whose refusals are written down."""


@dataclass
class Tally:
    """What came of the cases of one or several operations.

    cases     how many were sent
    answers   how many by status
    failures  what should not have been, with the operation that did it
    """

    cases: int = 0
    answers: Counter[int] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        self.cases += other.cases
        self.answers += other.answers
        self.failures += other.failures


@dataclass(frozen=True)
class Operation:
    """One operation, described once for each way to send its form."""

    filled_in: APIOperation
    meddled_with: APIOperation
    any_text: APIOperation

    @property
    def label(self) -> str:
        return self.filled_in.label

    @property
    def fields(self) -> list[str]:
        """Of the form that is sent to it."""
        return [name for body in self.filled_in.body for name in body.definition["schema"]["properties"]]

    @cached_property
    def cases(self) -> SearchStrategy[Case]:
        """One in five with any text."""
        filled_in, meddled_with, any_text = (
            one.as_strategy() for one in (self.filled_in, self.meddled_with, self.any_text)
        )
        ways = (filled_in, meddled_with, filled_in, meddled_with, any_text)
        return strategies.integers(0, len(ways) - 1).flatmap(ways.__getitem__)


def busy_file(folder: Path) -> Path:
    """A data file in which a club is in the middle of its day."""
    file = folder / DATA_FILE
    migrate.upgrade(file, paths.MIGRATIONS)
    database = Database(file)
    with database.write() as session:
        fill(session)
    database.close()
    return file


class Attacker:
    """Somebody with a browser on an application in this process, whose streams end after their first state.

    role  as which it is signed in; None for nobody
    """

    def __init__(self, client: TestClient, busy: Path, role: str | None) -> None:
        self.client = client
        self._app: FastAPI = client.app  # type: ignore[assignment]
        self._busy = busy
        self._role = role
        self._token, self._tokens = "", 0

    def operations(self) -> list[Operation]:
        """Every operation, with the forms of the pages that are seen on the busy field."""
        self.sign_in()
        forms = forms_of(self.client, self._app.openapi()["paths"])
        ways = (FILLED_IN, MEDDLED_WITH, ANY)
        described = (operations(document(self._app, forms, how)) for how in ways)
        return [Operation(*pair) for pair in zip(*described, strict=True)]

    def attack(self, operation: Operation, examples: int, seed: int) -> Tally:
        """Send generated cases of one operation, one after the other, from the busy field on."""
        tally = Tally()
        with closing(sqlite3.connect(self._app.state.settings.data / DATA_FILE)) as watched:
            with closing(sqlite3.connect(self._busy)) as busy:
                busy.backup(watched)

            @hypothesis.seed(seed)
            @hypothesis.settings(
                max_examples=examples,
                database=None,
                deadline=None,
                phases=[hypothesis.Phase.generate],
                suppress_health_check=list(hypothesis.HealthCheck),
            )
            @hypothesis.given(operation.cases)
            def send_each(case: Case) -> None:
                self.sign_in()
                before = _version(watched)
                status = self.send(case)
                tally.cases += 1
                tally.answers[status] += 1
                until(self._is_idle)
                if case.method == "GET" or (status >= 400 and case.path != COUNTS_TRIES):
                    assert _version(watched) == before, f"answered {status}, and the data changed: {case}"

            try:
                send_each()
            except Exception as error:
                tally.failures.append(f"{operation.label}: {type(error).__name__}: {error}")
        return tally

    def _is_idle(self) -> bool:
        """Whether no planning writes down what it found."""
        jobs: Jobs = self._app.state.jobs
        return not any(jobs.running(day_id) for day_id in range(1, 10))

    def sign_in(self) -> None:
        """Anew where an earlier case ended the session."""
        self.client.cookies.clear()
        if self._role is None:
            return
        with self._app.state.database.read() as session:
            is_in = bool(self._token) and access.signed_in(session, self._token, NOW) is not None
        if not is_in:
            self._tokens += 1
            self._token = f"token {self._tokens} of the {self._role}"
            with self._app.state.database.write() as session:
                make_signed_in(session, self._token, self._role)
        give_cookie(self.client, self._token)

    def send(self, case: Case) -> int:
        """The status of the answer, which is no fault of ours and carries the headers that every answer has."""
        address = case.formatted_path + (f"?{_encoded(case.query)}" if case.query else "")
        answer = self.client.request(case.method, address, **_body(case))
        assert answer.status_code < 500, f"{answer.status_code} {case.method} {address}"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "Traceback" not in answer.text
        return answer.status_code

    def post(self, address: str, content_type: str, body: bytes) -> Response:
        """Whatever the body is, from the busy field on."""
        self.sign_in()
        headers = {"Content-Type": content_type} if content_type else {}
        return self.client.post(address, content=body, headers=headers)


@contextmanager
def attacker(busy: Path, role: str | None) -> Iterator[Attacker]:
    """On an application of its own, with a copy of the data file.

    Planning is the tests' own, which takes no time, and nothing follows by itself between two cases.
    """
    with (
        tempfile.TemporaryDirectory(dir=IN_MEMORY) as own,
        patch("server.main.WATCH_EVERY_S", 86_400),
        patch("server.allocator.solve.plan_day", tiny_plan),
    ):
        shutil.copy(busy, Path(own) / DATA_FILE)
        app = create_app(Settings(data=Path(own), stream_life_s=0), clock=lambda: NOW)
        with TestClient(app, ADDRESS, headers={"Origin": ADDRESS}, follow_redirects=False) as client:
            yield Attacker(client, busy, role)


def operations_on(busy: Path) -> list[Operation]:
    """Every operation, as the organizer sees the busy field."""
    with attacker(busy, ORGANIZER) as organizer:
        return organizer.operations()


def _body(case: Case) -> dict[str, Any]:
    """How the framework's client is told a body; nothing where the case has none."""
    if not isinstance(case.body, Mapping):
        return {}
    if case.media_type == FILES:
        return {"files": {name: _part(value) for name, value in case.body.items()}}
    return {"content": _encoded(case.body).encode(), "headers": {"Content-Type": FORM}}


def _part(value: Any) -> tuple[str | None, bytes]:
    """Bytes go as a file, all else as text."""
    return ("file.csv", value) if isinstance(value, bytes) else (None, str(value).encode(errors="replace"))


def _encoded(values: Mapping[str, Any]) -> str:
    return urlencode({name: str(value) for name, value in values.items()}, errors="surrogatepass")


def _version(watched: sqlite3.Connection) -> int:
    """Another number after any commit of another connection."""
    return int(watched.execute("PRAGMA data_version").fetchone()[0])
