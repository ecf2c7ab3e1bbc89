"""The log of a real server: what each line tells, and what no line ever holds."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest

from server.storage.session import Database
from server.web.dependencies import COOKIE, KNOWN_COOKIE
from tests.factories import make_day, make_pilot
from tests.test_serving import ROOT, address_in, phrase_in
from tests.waiting import until

LINK = "private-link-of-wren-alone"
WRONG = "this was typed in error by us"


class Served:
    """A server with its log in a file, and a browser that goes to it."""

    def __init__(self, folder, form):
        self._file = folder / "log"
        command = [
            sys.executable,
            "-m",
            "tests.web.failing_server",
            "run",
            "--data",
            str(folder),
            "--port",
            "0",
        ]
        environment = os.environ | {"BANDSTAND_LOG": form, "BANDSTAND_HEARTBEAT_S": "0.1"}
        with self._file.open("wb") as log:
            self._process = subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=log, text=True, cwd=ROOT, env=environment
            )
        said = ""
        while "Stop with Ctrl-C." not in said:
            said += self._process.stdout.readline()
        self.address, self.phrase = address_in(said), phrase_in(said)
        self.browser = httpx.Client(
            base_url=self.address, headers={"Origin": self.address, "Connection": "close"}, timeout=30
        )
        database = Database(folder / "bandstand.sqlite")
        with database.write() as session:
            make_pilot(session, make_day(session, code="tern"), "Wren", link_token=LINK)
        database.close()

    @property
    def log(self):
        return self._file.read_text("utf-8")

    def lines(self):
        return [json.loads(line) for line in self.log.splitlines()]

    def line(self, route, **facts):
        """The first line of this route; waits until it is written, since that is done after the answer."""
        wanted = {"route": route, **facts}
        return until(lambda: next((one for one in self.lines() if wanted.items() <= one.items()), None))

    def sign_in(self, phrase):
        return self.browser.post(
            "/sign-in", data={"role": "organizer", "pass_phrase": phrase, "next": "/days"}
        )

    def stop(self):
        self.browser.close()
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(30)
        self._process.stdout.close()


@pytest.fixture(scope="module", params=["plain", "json"])
def form(request):
    return request.param


@pytest.fixture(scope="module")
def busy(form, tmp_path_factory):
    """Everything that brings a secret to the server, done once; gives the server and those secrets."""
    served = Served(tmp_path_factory.mktemp(form), form)
    ask = served.browser
    secrets = [LINK, served.phrase, WRONG, WRONG.replace(" ", "+")]
    assert served.sign_in(WRONG).status_code == 422
    assert served.sign_in(served.phrase).status_code == 303
    secrets += [ask.cookies[COOKIE], *ask.cookies[KNOWN_COOKIE].split(".")[2:]]
    assert ask.get(f"/slot/{LINK}").status_code == 200
    assert ask.get(f"/slot/{LINK}-gone").status_code == 404
    assert ask.get(f"/slot/{LINK}/no/such/address").status_code == 404
    assert ask.get(f"/?token={LINK}").status_code in (200, 303)
    assert ask.post(f"/slot/{LINK}/ask").status_code in (303, 422)
    assert ask.get(f"/slot/{LINK}", headers={"Host": "elsewhere.example"}).status_code == 400
    assert ask.post(f"/slot/{LINK}/ask", headers={"Origin": "http://elsewhere.example"}).status_code == 403
    joined = ask.post(
        "/join/tern", data={"join_id": "by-this-the-phone-is-known", "callsign": "Otter", "tunes": "R"}
    )
    assert joined.status_code == 303
    shown = ask.get(joined.headers["Location"]).text
    secrets += ["by-this-the-phone-is-known", re.search(r'href="/slot/([^"]+)"', shown)[1]]
    fault = ask.get(f"/slot/{LINK}/fails?how=in words")
    assert ask.get(f"/slot/{LINK}/fails?how=in the database").status_code in (500, 503)
    served.fault = fault
    yield served, secrets
    served.stop()


def test_no_secret_is_in_the_log(busy):
    served, secrets = busy
    until(lambda: "SELECT 1 FROM pilot" in served.log or "no such column" in served.log)
    for secret in secrets:
        assert len(secret) > 10
        assert secret not in served.log


def test_a_fault_has_its_traceback_in_the_log_under_the_number_that_its_page_tells(busy):
    served, _ = busy
    number = re.search(r"number of this request: <strong[^>]*>(\w{8})<", served.fault.text)[1]
    assert served.fault.status_code == 500
    until(lambda: "cannot show … at /slot/…" in served.log)
    assert "Traceback" in served.log
    assert served.log.count(number) >= 2  # the traceback and the request


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    served = Served(tmp_path_factory.mktemp("json"), "json")
    yield served
    served.stop()


class TestJson:
    def test_a_request_is_told_by_the_pattern_of_its_address(self, served):
        served.browser.get(f"/slot/{LINK}")
        line = served.line("/slot/{token}")
        assert (line["level"], line["method"], line["status"]) == ("info", "GET", 200)
        assert line["duration_ms"] > 0
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line["time"])
        assert re.fullmatch(r"[0-9a-f]{8}", line["request"])
        assert "day" not in line

    def test_a_day_is_told_by_its_code(self, served):
        served.browser.get("/board/tern")
        assert served.line("/board/{code}")["day"] == "tern"

    def test_what_stands_where_a_code_should_is_not_told(self, served):
        served.browser.get(f"/board/{LINK}")
        assert "day" not in served.line("/board/{code}", status=404)

    def test_an_address_that_is_not_there_is_not_told(self, served):
        served.browser.get("/nowhere/at/all")
        assert served.line("no such address")["status"] == 404
        served.browser.get("/static/css/base.css")
        assert served.line("/static/…")["status"] == 200
        assert "nowhere" not in served.log

    def test_a_fault_is_one_line_with_its_traceback(self, served):
        served.browser.get(f"/slot/{LINK}/fails?how=in words")
        line = served.line("/slot/{token}/fails")
        assert (line["level"], line["status"]) == ("warning", 500)
        fault = until(lambda: next((one for one in served.lines() if "error" in one), None))
        assert fault["request"] == line["request"]
        assert fault["error"].startswith("Traceback")

    @pytest.mark.parametrize(
        ("sent", "route"),
        [
            (
                "POST /join/tern HTTP/1.1\r\nContent-Length: 1000\r\n{headers}\r\n\r\ncallsign=Otter",
                "/join/{code}",
            ),
            ("GET /board/tern/stream HTTP/1.1\r\n{headers}\r\n\r\n", "/board/{code}/stream"),
        ],
        ids=["in mid-form", "in mid-stream"],
    )
    def test_who_goes_away_leaves_no_traceback(self, served, sent, route):
        host, _, port = served.address.removeprefix("http://").rpartition(":")
        form = "Content-Type: application/x-www-form-urlencoded"
        headers = f"Host: {host}:{port}\r\nOrigin: {served.address}\r\n{form}"
        with socket.create_connection((host, int(port))) as connection:
            connection.sendall(sent.format(headers=headers).encode())
            if "stream" in route:
                assert connection.recv(10)
            else:
                time.sleep(0.2)  # until the form is being read: nothing of it can be seen from outside
        line = served.line(route, method=sent.split()[0])
        assert "error" not in line
        assert not [one for one in served.lines() if one.get("level") == "error" and "fails" not in str(one)]


def test_plain_lines_tell_only_what_goes_wrong(tmp_path):
    served = Served(tmp_path, "plain")
    served.browser.get("/board/tern")
    served.browser.get(f"/slot/{LINK}/fails?how=in words")
    until(lambda: " WARNING [" in served.log)
    served.stop()
    first = served.log.splitlines()[0]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d (WARNING|ERROR) \[[0-9a-f]{8}\] .*", first)
    assert re.search(r"WARNING \[\w{8}\] GET /slot/\{token\}/fails answered 500 in \d+ ms", served.log)
    assert "board" not in served.log
