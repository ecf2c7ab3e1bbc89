"""The application on a data file of the test's own, asked as a stranger or as the director."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.main import create_app
from server.services.roles import DIRECTOR, HELPER, ORGANIZER
from server.settings import Settings
from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.factories import NOW, make_signed_in

ADDRESS = "http://localhost:8000"


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
    """The same browser, signed in as director."""
    return signed_in_as(DIRECTOR, client, database)


@pytest.fixture
def organizer(client: TestClient, database: Database) -> TestClient:
    """The same browser, signed in as organizer."""
    return signed_in_as(ORGANIZER, client, database)


@pytest.fixture
def helper(client: TestClient, database: Database) -> TestClient:
    """The same browser, signed in as helper."""
    return signed_in_as(HELPER, client, database)


def signed_in_as(role: str, client: TestClient, database: Database) -> TestClient:
    token = f"token-of-the-{role}"
    with database.write() as session:
        make_signed_in(session, token, role)
    give_cookie(client, token)
    return client


def give_cookie(client: TestClient, token: str) -> None:
    """Give the browser this cookie in place of the one it has."""
    client.cookies.set(COOKIE, token, domain="localhost.local")
