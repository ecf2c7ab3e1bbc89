"""Whatever is sent to whichever operation, it is answered, and refused where it should be."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from server.services.roles import ORGANIZER
from tests.attack.api import attacker, busy_file, operations_on
from tests.attack.operations import FILES, FORM, KNOWN_PARTS

PARTS = 4
"""So that two processes share the operations."""


@pytest.fixture(scope="session")
def busy(tmp_path_factory) -> Path:
    return busy_file(tmp_path_factory.mktemp("busy"))


@pytest.fixture(scope="session")
def operations(busy):
    return operations_on(busy)


def test_the_document_has_every_operation_and_the_forms_of_most(operations):
    assert len(operations) >= 128
    assert len([one for one in posts_of(operations) if one.fields]) >= 70


@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize(("role", "examples"), [(ORGANIZER, 12), (None, 3)], ids=["organizer", "nobody"])
def test_no_input_is_our_fault_no_get_changes_anything_and_what_is_refused_changes_nothing(
    busy, operations, role, examples, part
):
    with attacker(busy, role) as somebody:
        tallies = [somebody.attack(one, examples, seed=1) for one in operations[part::PARTS]]
    assert [failure for tally in tallies for failure in tally.failures] == []
    assert all(tally.cases for tally in tallies)


def labelled(operations, label):
    return next(one for one in operations if one.label == label)


def test_a_fault_of_ours_would_be_found(busy, operations, monkeypatch):
    def fail(*_):
        raise ValueError("nobody expected this")

    monkeypatch.setattr("server.services.days.refuse_other_clubs", fail)
    with attacker(busy, ORGANIZER) as somebody:
        tally = somebody.attack(labelled(operations, "POST /days/{code}/line/lift"), 4, seed=1)
    assert "POST /days/{code}/line/lift: ValueError: nobody expected this" in tally.failures[0]


def test_a_get_that_changes_something_would_be_found(busy, operations, monkeypatch):
    def write_down(session, *_):
        with closing(sqlite3.connect(session.get_bind().url.database)) as other, other:
            other.execute("UPDATE club SET name = name || '.'")

    monkeypatch.setattr("server.services.days.refuse_other_clubs", write_down)
    with attacker(busy, ORGANIZER) as somebody:
        tally = somebody.attack(labelled(operations, "GET /days/{code}/logbook"), 4, seed=1)
    assert "and the data changed" in tally.failures[0]


BOUND = "multipart/form-data; boundary=x"
FILE_FOR_TEXT = b'--x\r\nContent-Disposition: form-data; name="%s"; filename="a"\r\n\r\nb\r\n'
BODIES = {
    "bytes of no text": (FORM, b"\xff\xfe=\x00&%zz=%&=&&"),
    "half a pair of surrogates": (FORM, b"version=%ED%A0%80&seen=%ED%B0%80"),
    "more fields than anybody has": (FORM, b"a=1&" * 1001),
    "another encoding": (f"{FORM}; charset=utf-16", "version=1".encode("utf-16")),
    "parts without a boundary": (FILES, b"--x"),
    "parts that end in the middle": (BOUND, b'--x\r\nContent-Disposition: form-data; name="file"; filen'),
    "parts without a name": (BOUND, b"--x\r\n\r\nb\r\n--x--\r\n"),
    "JSON": ("application/json", b'{"version": [[[['),
    "nothing said of it": ("", b"version=1"),
}


@pytest.mark.parametrize("kind", BODIES)
def test_a_body_that_is_no_form_is_answered_everywhere(busy, operations, kind):
    content_type, body = BODIES[kind]
    with attacker(busy, ORGANIZER) as somebody:
        for address in addresses(operations):
            answer = somebody.post(address, content_type, body)
            assert answer.status_code < 500, (address, answer.text)


def test_files_in_place_of_text_are_answered_and_closed_everywhere(busy, operations):
    """Warnings are errors, also that of a file that nobody closed."""
    with attacker(busy, ORGANIZER) as somebody:
        for operation, address in zip(posts_of(operations), addresses(operations), strict=True):
            body = b"".join(FILE_FOR_TEXT % name.encode() for name in operation.fields) + b"--x--\r\n"
            answer = somebody.post(address, BOUND, body)
            assert answer.status_code < 500, (address, answer.text)


def posts_of(operations):
    return [one for one in operations if one.filled_in.method == "post"]


def addresses(operations):
    known = {name: values[0] for name, values in KNOWN_PARTS.items()}
    for one in posts_of(operations):
        yield re.sub(r"{(\w+)}", lambda part: known.get(part[1], "1"), one.filled_in.path)
