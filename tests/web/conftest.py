"""The application on a data file of the test's own, asked as a stranger or as the director."""

from collections.abc import Iterator
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.main import create_app
from server.settings import Settings
from server.storage import access
from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.factories import NOW

ADDRESS = "http://localhost:8000"
TOKEN = "token-of-the-director"


@pytest.fixture
def settings(database: Database, tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, database=database.place if isinstance(database.place, str) else "")


@pytest.fixture
def app(settings: Settings) -> Iterator[FastAPI]:
    """Its clock stands at the factories' NOW."""
    app = create_app(settings, clock=lambda: NOW)
    yield app
    app.state.database.close()


@pytest.fixture
def client(app: FastAPI):
    """Anybody: a browser that is not signed in. Redirects are answers, not followed."""
    with TestClient(app, ADDRESS, headers={"Origin": ADDRESS}, follow_redirects=False) as client:
        yield client


@pytest.fixture
def director(client: TestClient, database: Database) -> TestClient:
    """The same browser, signed in."""
    with database.write() as session:
        access.add_session(session, sha256(TOKEN.encode()).hexdigest(), NOW, NOW + timedelta(hours=1))
    give_cookie(client, TOKEN)
    return client


def give_cookie(client: TestClient, token: str) -> None:
    """Give the browser this cookie in place of the one it has."""
    client.cookies.set(COOKIE, token, domain="localhost.local")
