"""Files from anywhere: whatever the bytes, they are read, or refused with faults that have a cure."""

import tomllib

from hypothesis import example, given
from hypothesis import strategies as st

from server.services.faults import FaultyInputError
from server.services.heats_files import read_heats
from server.services.roster import COLUMNS
from server.services.roster_files import read_roster
from server.services.site_files import read_site
from server.services.site_settings import SETTINGS, read_settings

CELLS = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=12) | st.sampled_from(
    ["Wren", "R", "A B", "5:3", "25", "?", '"', "=1", "2", "", "rhcp", "R8-R1"]
)
TABLES = st.lists(st.lists(CELLS, min_size=1, max_size=8), min_size=1, max_size=6)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["R", "auto"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def is_read_or_refused(read):
    try:
        read()
    except FaultyInputError as error:
        return bool(error.faults) and all(fault.cure and "\n" not in str(fault) for fault in error.faults)
    return True


@given(st.binary(max_size=200))
@example(b";")
@example(b'"')
def test_any_bytes(data):
    roster = read_roster(data, "roster.csv")
    assert roster.pilots or roster.faults
    assert is_read_or_refused(lambda: read_heats(data, "heats.csv", {"wren": "Wren"}))
    assert is_read_or_refused(lambda: read_site(data, "site.toml"))


@given(st.lists(st.sampled_from(COLUMNS), min_size=2, max_size=8), TABLES, st.sampled_from(",;\t"))
def test_any_table_under_a_header_of_ours(header, rows, separator):
    text = "\n".join(separator.join(cells) for cells in [["callsign", "tunes", *header], *rows])
    roster = read_roster(text.encode(), "roster.csv")
    assert roster.pilots or roster.faults
    assert all(fault.cure and "\n" not in str(fault) for fault in roster.faults)


@given(st.dictionaries(st.sampled_from(SETTINGS) | st.text(max_size=8), VALUES, max_size=5))
def test_any_values_of_settings(values):
    try:
        understood = bool(read_settings(values))
    except Exception as error:
        understood = bool(getattr(error, "field_faults", ()))
    assert understood


@given(st.text(alphabet='=[]{}"\n#.,019ainf_mbr', max_size=60))
def test_any_text_of_a_site_file(text):
    assert is_read_or_refused(lambda: read_site(text.encode(), "site.toml"))
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assert not _is_read(text)


def _is_read(text):
    try:
        read_site(text.encode(), "site.toml")
    except FaultyInputError:
        return False
    return True
