"""Board and slot over real connections: how soon, in which order, and who is not held up by whom."""

import json
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from urllib.parse import urlsplit

import httpx
import pytest

from server.main import create_app
from server.services.live import announce, board_topic, slot_topic
from server.storage import pilots
from tests.factories import make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import publish
from tests.serving import serving

PATIENCE_S = 5
"""Beyond it a page counts as not told. How quick it is otherwise is for the benchmarks."""


class Field:
    """A served day with sixteen pilots, in plan 1 on channels that `publish` moves."""

    def __init__(self, app, address):
        self.app, self.address, self.database = app, address, app.state.database
        with self.database.write() as session:
            self.day = make_day(session, code="tern")
            self.pilots = [make_pilot(session, self.day, f"Pilot {number}") for number in range(16)]
            self.plan(session, 5700)

    def plan(self, session, mhz):
        publish(session, self.day, [[(pilot, mhz)] for pilot in self.pilots])

    def publish(self, mhz):
        with self.database.write() as session:
            self.plan(session, mhz)
        announce(self.database, self.app.state.hub, self.day.id)

    @contextmanager
    def watching(self, path) -> Iterator[Iterator[tuple[str, dict]]]:
        with httpx.stream("GET", self.address + path, timeout=PATIENCE_S) as answer:
            assert answer.status_code == 200
            yield events(answer)

    def slot(self, pilot):
        return f"/slot/{pilot.link_token}/stream"


def events(answer):
    name = None
    for line in answer.iter_lines():
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            yield name, json.loads(line.removeprefix("data: "))


def next_state(page):
    return next(data for name, data in page if name == "state")


def wait_until(is_true):
    deadline = time.monotonic() + PATIENCE_S
    while not is_true():
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.01)


@pytest.fixture
def field(settings):
    app = create_app(replace(settings, heartbeat_s=0.2))
    with serving(app) as address:
        yield Field(app, address)


def test_a_page_that_connects_gets_the_present_state_at_once(field):
    with field.watching("/board/tern/stream") as board, field.watching(field.slot(field.pilots[0])) as slot:
        assert "5700" in next_state(board)["html"]
        assert "5700" in next_state(slot)["html"]


def test_a_published_plan_reaches_board_and_phones(field):
    with ExitStack() as open_pages:
        paths = ["/board/tern/stream", *(field.slot(pilot) for pilot in field.pilots)]
        pages = [open_pages.enter_context(field.watching(path)) for path in paths]
        for page in pages:
            next_state(page)
        began = time.monotonic()
        field.publish(5800)
        for page in pages:
            assert "5800" in next_state(page)["html"]
        assert time.monotonic() - began < PATIENCE_S


def test_whoever_is_not_concerned_hears_only_signs_of_life(field):
    with field.watching(field.slot(field.pilots[0])) as page:
        next_state(page)
        field.publish(5800)
        next_state(page)
        with field.database.write() as session:
            make_pilot(session, field.day, "Latecomer")
            make_logbook_entry(session, field.day)
        announce(field.database, field.app.state.hub, field.day.id)
        assert [next(page)[0] for _ in range(3)] == ["hb"] * 3


def test_the_order_never_goes_back_however_many_publish_at_once(field):
    with field.watching("/board/tern/stream") as page:
        orders = [next_state(page)["order"]]
        with ThreadPoolExecutor(4) as threads:
            list(threads.map(field.publish, range(5701, 5721)))
        with field.database.read() as session:
            last = field.database.order(session, field.day.id)
        while orders[-1] < last:
            orders.append(next_state(page)["order"])
    assert orders == sorted(set(orders))


def test_what_a_stream_said_last_is_what_a_poll_says(field):
    with field.watching("/board/tern/stream") as page:
        next_state(page)
        field.publish(5800)
        assert next_state(page) == httpx.get(f"{field.address}/board/tern/state").json()


def test_a_phone_that_went_silent_holds_nobody_up(field):
    """It leaves its connection open and reads nothing, as a phone that walked out of the Wi-Fi."""
    where = urlsplit(field.address)
    with socket.socket() as silent, field.watching("/board/tern/stream") as page:
        silent.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
        silent.connect((where.hostname, where.port))
        silent.sendall(b"GET /board/tern/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
        next_state(page)
        wait_until(lambda: field.app.state.hub.watching(board_topic("tern")) == 2)
        slowest_s = 0.0
        for mhz in range(5701, 5741):
            began = time.monotonic()
            field.publish(mhz)
            assert str(mhz) in next_state(page)["html"]
            slowest_s = max(slowest_s, time.monotonic() - began)
        assert slowest_s < PATIENCE_S
        assert field.app.state.hub.watching(board_topic("tern")) == 2


def test_a_replaced_link_ends_the_stream_of_who_has_the_old_one(field):
    pilot = field.pilots[0]
    with field.watching(field.slot(pilot)) as old, field.watching(field.slot(field.pilots[1])) as other:
        next_state(old)
        next_state(other)
        with field.database.write() as session:
            pilots.by_id(session, field.day.id, pilot.id).link_token = "a-new-one"
            make_logbook_entry(session, field.day)
        announce(field.database, field.app.state.hub, field.day.id)
        assert {name for name, _ in old} <= {"hb"}  # and then its end
        field.publish(5800)
        assert "5800" in (next_state(other)["html"] + next_state(other)["html"])
    assert httpx.get(field.address + field.slot(pilot)).status_code == 410
    assert field.app.state.hub.watching(slot_topic(field.day.id, pilot.link_token)) == 0


def test_pages_that_open_while_plans_are_published_miss_none(field):
    """Each newcomer ends with the last plan, whether it came with the first state or after."""
    seen = {}

    def open_and_wait(number):
        with field.watching("/board/tern/stream") as page:
            for name, data in page:
                if name == "state" and "5730" in data["html"]:
                    seen[number] = True
                    return

    newcomers = []
    for mhz in range(5711, 5731):
        newcomers.append(threading.Thread(target=open_and_wait, args=(mhz,)))
        newcomers[-1].start()
        field.publish(mhz)
    for newcomer in newcomers:
        newcomer.join(PATIENCE_S)
    assert len(seen) == len(newcomers)
