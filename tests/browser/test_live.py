"""The live script against a server of its own that can freeze, refuse streams and send late messages."""

import json
import re
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from server.web.static_files import content_of
from server.web.templating import make_templates

POLICY = "default-src 'none'; " + "; ".join(
    f"{kind}-src 'self'" for kind in ("script", "style", "img", "font", "connect")
)
TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
PAGE = """{% extends "public_base.html" %}{% import "macros/notices.html" as notices %}
{% block title %}Live{% endblock %}
{% block main_attributes %}data-stream="/stream" data-state-url="/state" data-topic="board-abcd"
 data-order="5" data-heartbeat-ms="200" data-poll-ms="400"{% endblock %}
{% block main %}{{ notices.live_line() }}<div id="live">FRAGMENT</div>{% endblock %}
{% block scripts %}<script src="/static/js/live_page.js"></script>{% endblock %}"""


def fragment(word: str) -> str:
    return f'<p data-key="wren">{word}</p><p data-key="otter">F4</p><label>Note <input></label>'


class Field:
    """What the server says, and how it misbehaves: "fine", "frozen" or "no stream"."""

    def __init__(self) -> None:
        self.order, self.word, self.manner = 5, "R1", "fine"

    def state(self) -> bytes:
        return json.dumps({"order": self.order, "html": fragment(self.word)}).encode()

    def say(self, order: int, word: str) -> None:
        self.word, self.order = word, order


class Handler(BaseHTTPRequestHandler):
    field: Field

    def log_message(self, *_: object) -> None:
        """Keep the test's output quiet."""

    def do_GET(self) -> None:
        path = self.path.partition("?")[0]
        while self.field.manner == "frozen":
            time.sleep(0.02)
        if path == "/stream":
            self.stream()
        elif path == "/state":
            self.send(self.field.state(), "application/json")
        elif path.startswith("/static/"):
            self.send(content_of(path.removeprefix("/static/")), TYPES.get(Path(path).suffix, "font/woff2"))
        else:
            page = make_templates().env.from_string(PAGE.replace("FRAGMENT", fragment("R1"))).render()
            self.send(page.encode(), "text/html")

    def send(self, body: bytes, kind: str) -> None:
        self.send_response(200)
        for name, value in (("Content-Type", kind), ("Content-Security-Policy", POLICY)):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def stream(self) -> None:
        if self.field.manner == "no stream":
            self.send_error(503)
            return
        self.send(b"", "text/event-stream")
        sent = None
        while self.field.manner != "no stream":
            if self.field.manner == "fine":
                lines = b"event: hb\ndata: %s\n\n" % json.dumps({"order": self.field.order}).encode()
                if sent != self.field.order:
                    lines = b"event: state\ndata: %s\n\n" % self.field.state() + lines
                    sent = self.field.order
                try:
                    self.wfile.write(lines)
                except OSError:
                    return
            time.sleep(0.05)


@pytest.fixture
def field() -> Iterator[tuple[Field, str]]:
    state = Field()
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("FieldHandler", (Handler,), {"field": state}))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield state, f"http://127.0.0.1:{server.server_port}/"
    state.manner = "no stream"
    server.shutdown()
    server.server_close()


@pytest.fixture
def page(browser_page, field) -> Page:
    page = browser_page("phone")
    page.goto(field[1])
    expect(page.locator("body")).to_have_attribute("data-state", "live")
    return page


def channel(page: Page):
    return page.locator("[data-key=wren]")


def test_new_state_is_shown_and_marked_and_typed_text_stays(page, field):
    page.get_by_label("Note").fill("typed")
    field[0].say(6, "F4")
    expect(channel(page)).to_have_text("F4")
    expect(channel(page)).to_have_attribute("data-changed", "")
    assert page.locator("[data-changed]").count() == 1
    assert page.get_by_label("Note").input_value() == "typed"


def test_late_message_never_wins(page, field):
    field[0].say(8, "F4")
    expect(channel(page)).to_have_text("F4")
    field[0].say(7, "E1")
    page.wait_for_timeout(400)
    assert channel(page).text_content() == "F4"


def test_frozen_server_makes_the_page_stale_and_it_catches_up(page, field):
    field[0].manner = "frozen"
    expect(page.locator("body")).to_have_attribute("data-state", "stale", timeout=3000)
    expect(page.locator("#live-line-text")).to_have_text(re.compile(r"out of date since \d\d:\d\d:\d\d"))
    field[0].say(6, "F4")
    field[0].manner = "fine"
    expect(channel(page)).to_have_text("F4")
    expect(page.locator("body")).to_have_attribute("data-state", "live")


def test_polls_where_streaming_fails(page, field):
    field[0].manner = "no stream"
    expect(page.locator("#live-line-text")).to_have_text(re.compile("^Updates every"), timeout=5000)
    field[0].say(6, "F4")
    expect(channel(page)).to_have_text("F4")


def test_kept_state_is_not_called_live_until_the_server_confirms_it(page, field):
    field[0].say(6, "F4")
    expect(channel(page)).to_have_text("F4")
    field[0].manner = "no stream"
    page.route("**/state", lambda route: route.abort())
    page.reload()
    expect(channel(page)).to_have_text("F4")
    expect(page.locator("#live-line-text")).to_have_text(re.compile("^May be out of date since"))
    assert page.locator("body").get_attribute("data-state") == "stale"
