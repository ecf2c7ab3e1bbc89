"""The application on a data file of the test's own, asked as a stranger or as the director."""

from datetime import timedelta
from hashlib import sha256

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
def settings(database: Database) -> Settings:
    return Settings(data=database.file.parent)


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    """Its clock stands at the factories' NOW."""
    return create_app(settings, clock=lambda: NOW)


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
