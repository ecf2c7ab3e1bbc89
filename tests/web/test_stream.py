"""Live pages over real connections: what comes, what it holds open, and how it ends."""

import asyncio
import json
import signal
import subprocess
import sys
import time
import zlib
from contextlib import ExitStack, contextmanager
from dataclasses import replace

import httpx
import pytest

from server import paths
from server.main import create_app
from server.settings import Settings
from server.web import stream
from tests.factories import make_day, make_logbook_entry
from tests.serving import serving
from tests.web.stream_server import TOPIC, with_live_page

PATIENCE_S = 5


@pytest.fixture
def live_app(settings, database):
    with database.write() as session:
        make_logbook_entry(session, make_day(session))
    app = with_live_page(create_app(replace(settings, heartbeat_s=0.1, stream_life_s=30)))
    yield app
    app.state.database.close()


@pytest.fixture
def address(live_app):
    with serving(live_app) as address:
        yield address


@contextmanager
def watching(address):
    """The events of a live page, as (name, data) one after another."""
    with httpx.stream("GET", f"{address}/live", timeout=PATIENCE_S) as answer:
        assert answer.status_code == 200
        assert answer.headers["Content-Type"].startswith("text/event-stream")
        yield events(answer)


def events(answer):
    name = None
    for line in answer.iter_lines():
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            yield name, json.loads(line.removeprefix("data: "))


def wait_until(is_true):
    deadline = time.monotonic() + PATIENCE_S
    while not is_true():
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.01)


def test_a_live_page_starts_with_the_present_state(address):
    with watching(address) as page:
        assert next(page) == ("state", {"order": 1, "html": "<p>now</p>"})


def test_a_live_page_gets_what_is_published_within_a_second(live_app, address):
    with watching(address) as page:
        next(page)
        published = time.monotonic()
        stream.publish(live_app.state.hub, TOPIC, stream.State(5, "<p>Wren\nŽluva</p>"))
        assert next(one for one in page if one[0] == "state")[1] == {"order": 5, "html": "<p>Wren\nŽluva</p>"}
        assert time.monotonic() - published < 1


def test_signs_of_life_carry_the_order_of_the_newest_state(live_app, address):
    with watching(address) as page:
        next(page)
        name, data = next(page)
        assert (name, data["order"]) == ("hb", 1)
        assert data["at"].endswith("+00:00")
        stream.publish(live_app.state.hub, TOPIC, stream.State(5, ""))
        assert next(one for one in page if one[0] == "hb" and one[1]["order"] == 5)


@pytest.mark.parametrize(("accepted", "encoding"), [("gzip, br", "gzip"), ("identity", None)])
def test_a_stream_is_not_kept_and_is_compressed_for_whoever_takes_it(address, accepted, encoding):
    with httpx.stream("GET", f"{address}/live", headers={"Accept-Encoding": accepted}) as answer:
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.headers["X-Accel-Buffering"] == "no"
        assert answer.headers.get("Content-Encoding") == encoding
        assert "Content-Security-Policy" in answer.headers
        assert next(answer.iter_lines()) == f"retry: {stream.RECONNECT_AFTER_MS}"


def test_each_event_is_whole_in_its_own_bytes_and_a_repeated_one_is_short():
    event = stream.state_event(stream.State(5, "".join(f"<p>{number}</p>" for number in range(500))))
    packed = asyncio.run(all_of(stream.compressed(one_after_another(event, event, b"the end"))))
    unpacked = zlib.decompressobj(wbits=31)
    assert [unpacked.decompress(part) for part in packed] == [event, event, b"the end", b""]
    assert unpacked.eof
    assert len(packed[1]) < len(packed[0]) / 10


def test_what_two_watchers_had_alike_is_compressed_once():
    first, second = (stream.state_event(stream.State(order, "x" * 9000)) for order in (501, 502))
    stream._packed.cache_clear()
    for _ in range(2):
        asyncio.run(all_of(stream.compressed(one_after_another(first, second))))
    assert stream._packed.cache_info().misses == 3  # both states, and the end


def test_after_a_state_it_makes_no_odds_what_came_before():
    heartbeat, state, later = (
        b"event: hb\n\n",
        *(stream.state_event(stream.State(n, "y" * n)) for n in (8, 9)),
    )
    long_here = asyncio.run(all_of(stream.compressed(one_after_another(heartbeat, heartbeat, state, later))))
    new_here = asyncio.run(all_of(stream.compressed(one_after_another(state, later))))
    assert long_here[3] == new_here[1]


async def all_of(parts):
    return [part async for part in parts]


async def one_after_another(*events):
    for event in events:
        yield event


def test_a_stream_that_cannot_start_is_answered_like_any_page(live_app, address):
    answer = httpx.get(f"{address}/live?day=none", headers={"Accept": "text/event-stream"})
    assert (answer.status_code, answer.text) == (404, "There is no such day.")
    assert live_app.state.hub.watching(TOPIC) == 0


def test_a_watcher_that_goes_is_forgotten(live_app, address):
    with watching(address) as page:
        next(page)
        assert live_app.state.hub.watching(TOPIC) == 1
    wait_until(lambda: live_app.state.hub.watching(TOPIC) == 0)


def test_a_stream_ends_after_its_life_so_that_the_page_comes_back(settings, database):
    short = with_live_page(create_app(Settings(data=settings.data, heartbeat_s=0.05, stream_life_s=0.2)))
    with serving(short) as address, watching(address) as page:
        assert len(list(page)) >= 2


def test_open_streams_hold_no_session(live_app, address):
    """Forty would use up the pool, or the write lock, if each kept its session."""
    with ExitStack() as open_pages, httpx.Client(base_url=address) as client:
        for _ in range(45):
            next(open_pages.enter_context(watching(address)))
        started = time.monotonic()
        assert client.get("/health").status_code == 200
        with live_app.state.database.write() as session:
            make_day(session)
        assert time.monotonic() - started < 3  # waiting for a session would take 30 s, for the lock 5 s


@contextmanager
def server_process(folder):
    command = [sys.executable, "-m", "tests.web.stream_server", str(folder)]
    root = paths.MIGRATIONS.parent
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=root
    ) as process:
        try:
            yield process, f"http://127.0.0.1:{process.stdout.readline().strip()}"
        finally:
            process.kill()


@pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGINT])
def test_a_server_told_to_stop_ends_twenty_streams_at_once(tmp_path, told):
    with server_process(tmp_path) as (process, address), ExitStack() as open_pages:
        pages = [open_pages.enter_context(watching(address)) for _ in range(20)]
        for page in pages:
            assert next(page)[0] == "state"
        told_at = time.monotonic()
        process.send_signal(told)
        for page in pages:
            assert {name for name, _ in page} <= {"hb"}  # and then the end, not a cut connection
        process.wait(PATIENCE_S)
        assert time.monotonic() - told_at < 3
        assert "Traceback" not in process.stderr.read()
