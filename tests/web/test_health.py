"""Whether a server lives, and whether requests may be sent to it."""

import httpx
from sqlalchemy import text

from server import __version__, paths
from server.main import create_app
from server.services.readiness import MIGRATIONS, NEWS, Readiness
from server.settings import Settings
from server.storage.session import AWAY, Database
from tests.serving import serving
from tests.waiting import until


class Deaf:
    hears = False


def test_health_says_that_the_process_lives_and_asks_nothing_else(client, monkeypatch):
    monkeypatch.setattr(Database, "read", None)
    answer = client.get("/health")
    assert answer.json() == {"status": "ok", "version": __version__}
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_head_alone_is_answered_as_the_whole(app):
    with serving(app) as address:
        for path in ("/health", "/ready"):
            until(lambda path=path: httpx.get(address + path).status_code == 200)
            head = httpx.head(address + path)
            assert (head.status_code, head.content) == (200, b"")
            assert head.headers["Content-Length"] == httpx.get(address + path).headers["Content-Length"]


def test_a_server_on_its_data_is_ready(client):
    until(lambda: client.get("/ready").status_code == 200)
    assert client.get("/ready").json() == {"status": "ready"}


def test_tables_of_another_version_make_it_not_ready(client, app):
    with app.state.database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = 'earlier'"))
    answer = client.get("/ready")
    assert (answer.status_code, answer.json()) == (503, {"status": "not ready", "reason": MIGRATIONS})


def test_a_server_that_hears_nothing_of_the_others_is_not_ready(client, app, database):
    app.state.readiness = Readiness(database, paths.MIGRATIONS, Deaf())
    answer = client.get("/ready")
    assert (answer.status_code, answer.json()) == (503, {"status": "not ready", "reason": NEWS})


def test_a_database_that_is_away_makes_it_not_ready_but_leaves_it_alive(postgresql, tmp_path):
    with postgresql.database() as address:
        name = address.rpartition("/")[2]
        with serving(create_app(Settings(data=tmp_path, database=address))) as server:
            until(lambda: httpx.get(f"{server}/ready").status_code == 200)
            postgresql.run(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
            postgresql.run(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'")
            answer = httpx.get(f"{server}/ready")
            assert (answer.status_code, answer.json()["reason"]) == (503, AWAY)
            assert httpx.get(f"{server}/health").status_code == 200
            postgresql.run(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
            until(lambda: httpx.get(f"{server}/ready").status_code == 200)
