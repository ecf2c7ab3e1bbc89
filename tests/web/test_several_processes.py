"""Two servers on one PostgreSQL database: what is changed at one is seen at once at the other."""

import json
import threading
from contextlib import ExitStack, contextmanager

import httpx
import pytest
from sqlalchemy import text

from server.main import create_app
from server.settings import Settings
from server.storage import days
from server.storage.session import Database
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish
from tests.serving import serving

PATIENCE_S = 10
CUT_THE_LISTENERS = """
    SELECT pg_terminate_backend(pid) FROM pg_stat_activity
    WHERE datname = current_database() AND starts_with(query, 'LISTEN')
"""


@pytest.fixture
def database(postgresql):
    with postgresql.database() as address:
        database = Database(address)
        yield database
        database.close()


@pytest.fixture
def wren(database):
    with database.write() as session:
        day = make_day(session, code="tern")
        wren = make_pilot(session, day, "Wren")
        publish(session, day, [[(wren, 5700)]])
        return wren


@pytest.fixture
def addresses(database, tmp_path):
    with ExitStack() as servers:
        settings = Settings(data=tmp_path, database=database.place, heartbeat_s=0.2)
        yield [servers.enter_context(serving(create_app(settings))) for _ in range(2)]


@contextmanager
def states(address):
    """What a live page shows, one state after another."""
    with httpx.stream("GET", address, timeout=PATIENCE_S) as answer:
        lines = answer.iter_lines()
        yield (
            json.loads(next(lines).removeprefix("data: "))["html"] for line in lines if line == "event: state"
        )


def change(database, wren, mhz, fails=False):
    """As another process would: nobody here is told but by the database."""
    with database.write() as session:
        day = days.by_id(session, wren.field_day_id)
        publish(session, day, [[(session.merge(wren), mhz)]])
        if fails:
            raise ZeroDivisionError


def test_a_published_plan_reaches_the_live_pages_of_every_server(addresses, database, wren):
    paths = ("/board/tern/stream", f"/slot/{wren.link_token}/stream")
    with ExitStack() as pages:
        shown = [pages.enter_context(states(address + path)) for address in addresses for path in paths]
        assert all("5700" in next(page) for page in shown)
        change(database, wren, 5800)
        assert all("5800" in next(page) for page in shown)


def test_what_is_rolled_back_is_told_to_nobody(addresses, database, wren):
    with states(f"{addresses[0]}/board/tern/stream") as board:
        next(board)
        with pytest.raises(ZeroDivisionError):
            change(database, wren, 5800, fails=True)
        change(database, wren, 5880)
        assert "5880" in next(board)


def test_what_one_server_changes_makes_the_others_ready_for_the_crew(database, tmp_path, wren):
    app, came = create_app(Settings(data=tmp_path, database=database.place)), threading.Event()
    app.state.crew_comes = came.set
    with serving(app):
        assert not came.is_set()
        change(database, wren, 5800)
        assert came.wait(PATIENCE_S)


def test_a_cut_connection_is_made_again_and_what_was_missed_is_shown(addresses, database, wren):
    with states(f"{addresses[0]}/board/tern/stream") as board:
        next(board)
        with database.write() as session:
            session.connection().execute(text(CUT_THE_LISTENERS))
        change(database, wren, 5880)  # while nobody listens
        assert "5880" in next(board)
