"""Lines of the log: no secret in any, and one JSON object a line whatever is told."""

import json
import logging
import sys

import pytest

from server.logs import JSON, Asked, JsonLines, PlainLines, configuration, current_request, without_secrets

TOKEN = "Zy3kX0pQ7vLm2NcR8sTu1w"


@pytest.fixture
def asked():
    """Ask for an address in this test, with a cookie."""
    reset = []

    def ask(sent):
        reset.append(current_request.set(Asked("1a2b3c4d", sent)))

    yield ask
    for token in reversed(reset):
        current_request.reset(token)


def record(message, *values, **more):
    return logging.LogRecord("bandstand", logging.WARNING, __file__, 1, message, values, more.get("exc_info"))


@pytest.mark.parametrize(
    ("text", "written"),
    [
        (f"GET /slot/{TOKEN}/state", "GET /slot/…/state"),
        (f"at /slot/{TOKEN}?x=1", "at /slot/…?x=1"),
        ("GET /slot/{token}/state", "GET /slot/{token}/state"),  # the pattern of the address
        (f"/?token={TOKEN}&day=tern", "/?token=…&day=tern"),
        (f"/join/tern?me={TOKEN}", "/join/tern?me=…"),
        ("postgresql://bandstand:very-secret@db/days", "postgresql://…@db/days"),
        ("postgresql://bandstand@db/days", "postgresql://bandstand@db/days"),
        ("a name and nothing else", "a name and nothing else"),
    ],
)
def test_what_looks_like_a_secret_is_blotted_out(text, written):
    assert without_secrets(text) == written


def test_what_the_request_was_let_in_by_is_blotted_out_wherever_it_stands(asked):
    asked(f"/board/tern bandstand_director={TOKEN}; bandstand_known=1.organizer.{TOKEN[::-1]}")
    told = without_secrets(f"KeyError: '{TOKEN}' or {TOKEN[::-1]}, on the board of tern")
    assert told == "KeyError: '…' or …, on the board of tern"


def test_a_plain_line_has_its_moment_level_and_request(asked):
    asked("")
    line = PlainLines().format(record("the disk is %s", "full"))
    assert line[19:] == " WARNING [1a2b3c4d] the disk is full"


def test_a_plain_line_outside_a_request_has_no_number():
    assert PlainLines().format(record("the disk is full"))[19:] == " WARNING the disk is full"


def test_a_json_line_is_one_line_also_with_a_traceback_that_quotes_a_link():
    try:
        raise ValueError(f'no "/slot/{TOKEN}"\nat all')
    except ValueError:
        line = JsonLines().format(record("failed\n", exc_info=sys.exc_info()))
    assert "\n" not in line
    told = json.loads(line)
    assert (told["level"], told["message"]) == ("warning", "failed")
    assert told["error"].endswith('ValueError: no "/slot/…"\nat all')


def test_a_json_line_tells_the_facts_of_its_record_and_leaves_out_what_is_empty():
    one = record("answered")
    one.facts = {"status": 200, "day": ""}
    told = json.loads(JsonLines().format(one))
    assert told["status"] == 200
    assert told.keys() == {"time", "level", "message", "status"}


@pytest.mark.parametrize(("form", "level"), [(JSON, "INFO"), ("plain", "WARNING")])
def test_each_request_is_told_in_json_alone(form, level):
    assert configuration(form)["loggers"]["bandstand"]["level"] == level
