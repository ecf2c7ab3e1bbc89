"""Files of ours, damaged as disks, editors and other people damage them: read, or refused with what is wrong."""

import gzip
import json
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import SQLModel

from server.services import day_files, day_imports
from server.services.day_files import FaultyDayFileError
from server.services.faults import FaultyInputError
from server.services.heats_files import read_heats
from server.services.imports import Wish, bring_in, look_at
from server.services.roster_files import read_roster
from server.services.site_files import read_site
from server.storage import pilots
from server.storage.session import Database
from tests.factories import FIRST_CLUB, NOW, make_day
from tests.full_day import full_day

ROSTER = b'''callsign,name,tunes,receives,power_mw,antenna,pin,apart,spotter,heat
Wren,Ann Lee,A B E F R,,25 200 600,rhcp,,Otter,,
Otter,,R,R1-R8,25,lhcp,R3,,Wren,
"Big ""Bird""",,5:3 5658,A B,"25;200",linear,,"Wren, Otter",,2
'''
HEATS = b"heat,callsign\n1,Wren\n1,Otter\n2,Wren\n"
SITE = b"""# Tern Meadow
near_m = 8
far_m = 80.5
allowed_bands = "A B F R"
bans = ["R7", 5800]
day_channels = "auto"
[receiver]
iip3_dbm = -10
[rules]
name = "Club permit"
ranges = [[5650, 5925, 600]]
licence_needed = true
"""
ODD = [
    *(
        b"\0",
        b"\xef\xbb\xbf",
        b"\xff\xfe",
        b"\r",
        b"\r\n",
        b'"',
        b",",
        b";",
        b"\t",
        b"'",
        b"[",
        b"]",
        b"{",
        b"=",
    ),
    *(b"nan", b"inf", b"-1", b"1e400", b"9" * 400, b"9" * 5000, b"0x" + b"f" * 400, b"true", b"1979-05-27"),
    *(b"[" * 2000, b"{a=" * 2000, b"a." * 300, b'"' * 7, b"x" * 140_000),
    *("²٣\u202e\u2028".encode(), b"\xed\xa0\x80"),
]


def damaged(file: bytes) -> st.SearchStrategy[bytes]:
    """The file with some of it changed, cut, doubled or written in another way."""
    places = st.integers(0, len(file))

    def flip(data: bytes, at: int, bit: int) -> bytes:
        at %= max(1, len(data))
        return data[:at] + bytes([data[at] ^ (1 << bit)]) + data[at + 1 :] if data else data

    def cut(data: bytes, at: int, end: int) -> bytes:
        return data[: min(at, end)] + data[max(at, end) :]

    def put(data: bytes, at: int, what: bytes) -> bytes:
        return data[:at] + what + data[at:]

    def in_place_of_a_word(data: bytes, at: int, what: bytes) -> bytes:
        words = list(re.finditer(rb"[\w.-]+", data))
        word = words[at % len(words)] if words else None
        return data[: word.start()] + what + data[word.end() :] if word else what

    def a_line_twice(data: bytes, at: int, _: bytes) -> bytes:
        lines = data.splitlines(keepends=True)
        return b"".join([*lines, lines[at % len(lines)]]) if lines else data

    changes = st.one_of(
        st.tuples(st.just(flip), places, st.integers(0, 7)),
        st.tuples(st.just(cut), places, places),
        st.tuples(st.sampled_from((put, in_place_of_a_word, a_line_twice)), places, st.sampled_from(ODD)),
    )
    written = st.sampled_from(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"))

    def apply(several: list, encoding: str) -> bytes:
        data = file
        for change, at, what in several:
            data = change(data, at, what)
        if encoding == "utf-8":
            return data
        return data.decode("utf-8", "replace").encode(encoding, "replace")

    return st.builds(apply, st.lists(changes, min_size=1, max_size=4), written)


def told(faults) -> bool:
    """Each fault is one line with a cure."""
    return bool(faults) and all(fault.cure and "\n" not in str(fault) for fault in faults)


def is_read_or_told(read) -> bool:
    try:
        return bool(read())
    except FaultyInputError as error:
        return told(error.faults)


@settings(max_examples=600)
@given(damaged(ROSTER))
def test_a_damaged_roster_is_read_or_its_faults_are_told(data):
    roster = read_roster(data, "roster.csv")
    assert roster.pilots or told(roster.faults)


@settings(max_examples=300)
@given(damaged(HEATS))
def test_damaged_heats_are_read_or_their_faults_are_told(data):
    known = {"wren": "Wren", "otter": "Otter"}
    assert is_read_or_told(lambda: read_heats(data, "heats.csv", known))


@settings(max_examples=800)
@given(damaged(SITE))
def test_a_damaged_site_is_read_or_its_faults_are_told(data):
    assert is_read_or_told(lambda: read_site(data, "site.toml"))


LARGE = {
    "a cell of 10 MB": b"callsign,tunes\nWren," + b"R" * 10_000_000,
    "a header of 10 MB": b"callsign,tunes," + b"x" * 10_000_000 + b"\nWren,R\n",
    "millions of columns": b"callsign,tunes" + b"," * 4_000_000 + b"\nWren,R\n",
    "a quoted cell of 10 MB": b'callsign,tunes\n"' + b"x" * 10_000_000 + b'",R\n',
}


@pytest.mark.parametrize("name", LARGE)
def test_a_cell_that_no_list_has_is_told_with_its_line(name):
    roster = read_roster(LARGE[name], "roster.csv")
    assert told(roster.faults) or roster.pilots
    assert is_read_or_told(lambda: read_heats(LARGE[name], "heats.csv", {}))


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (b"near_m = " + b"9" * 5000, "a number has thousands of figures"),
        (b"bans = " + b"[" * 5000, "hundreds deep"),
        (b"near_m = " + b"9" * 400, "give a number from 0.5 to 1000 m"),
        (b"aircraft = " + b"9" * 400, "whole number"),
        (b"common_power_mw = 0x" + b"f" * 400, "give mW"),
        (b"[rules]\nranges = [[5650, " + b"9" * 400 + b"]]", "give MHz from"),
        (b"[receiver]\niip3_dbm = -" + b"9" * 400, "from -40 to 30"),
    ],
)
def test_a_number_of_hundreds_of_figures_is_a_fault_like_any_other(setting, words):
    with pytest.raises(FaultyInputError, match=words):
        read_site(setting, "site.toml")


@pytest.fixture
def session(database):
    with database.write() as session:
        yield session


@pytest.fixture(scope="module")
def exported(migrated_file, tmp_path_factory) -> bytes:
    file = tmp_path_factory.mktemp("exported") / "bandstand.sqlite"
    file.write_bytes(migrated_file.read_bytes())
    database = Database(file)
    with database.write() as session:
        code = full_day(session).code
    with database.read() as session:
        data = day_files.export(session, code)
    database.close()
    return data


def rows_of(session) -> dict[str, list]:
    connection = session.connection()
    return {table.name: connection.execute(table.select()).all() for table in SQLModel.metadata.sorted_tables}


def checked(data: bytes) -> bytes:
    """With the checksum of what it has by now, as far as it still is one of ours."""
    try:
        file = json.loads(data)
        file["sha256"] = day_files._sha256(file["content"])
        return json.dumps(file).encode()
    except (ValueError, KeyError, TypeError, RecursionError):
        return data


def why_refused(bring) -> str:
    """What was said; empty where it was brought in."""
    try:
        bring()
    except FaultyDayFileError as error:
        return str(error)
    except FaultyInputError as error:
        return "\n".join(str(fault) for fault in error.faults if fault.cure)
    return ""


ONE_SESSION = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]


@settings(max_examples=300, suppress_health_check=ONE_SESSION)
@given(data=st.data(), packed=st.booleans(), is_checked=st.booleans())
def test_a_damaged_day_comes_whole_or_not_at_all(session, exported, data, packed, is_checked):
    file = data.draw(damaged(exported))
    file = checked(file) if is_checked else file
    file = gzip.compress(file, 1) if packed else file
    before, tried = rows_of(session), session.begin_nested()

    def bring():
        content = day_files.read(file, "day.json")
        brought = day_imports.bring_in(session, FIRST_CLUB, content, "day.json", NOW)
        assert len(pilots.of_day(session, brought.day.id)) == len(content.pilots)

    said = why_refused(bring)
    assert not said or (said.startswith("“day.json” ") and len(said) < 600)
    tried.rollback()
    assert rows_of(session) == before


@settings(max_examples=300, suppress_health_check=ONE_SESSION)
@given(data=damaged(ROSTER))
def test_of_a_damaged_list_of_pilots_only_good_rows_are_brought_in(session, data):
    tried = session.begin_nested()
    day, added = make_day(session), []
    wish = Wish(data.decode("utf-8", "replace"), "list.csv")
    said = why_refused(lambda: added.extend(bring_in(session, day, look_at(session, day, wish), "desk", NOW)))
    assert len(pilots.of_day(session, day.id)) == len(added)
    assert not (said and added)
    tried.rollback()
