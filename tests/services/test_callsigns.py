"""Callsigns: what is kept, what counts as the same, what is refused."""

import pytest

from server.services.callsigns import callsign_key, misleading, read_callsign, read_callsigns
from server.services.faults import FieldsError

KNOWN = {callsign_key(name): name for name in ("Wren", "Otter", "Big Bird", "Big")}


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Wren", "Wren"),
        ("  Wren ", "Wren"),
        ("Big   Bird", "Big Bird"),
        ("Zoe\u0308", "Zo\u00eb"),  # two code points become one
        ("x" * 24, "x" * 24),
        ("鷦鷯", "鷦鷯"),
        ("3-Wren", "3-Wren"),
    ],
)
def test_keeps_a_callsign_composed_and_trimmed(typed, kept):
    assert read_callsign(typed) == kept


@pytest.mark.parametrize(
    ("one", "other"),
    [("WREN", "wren"), (" Wren", "Wren "), ("Zoe\u0308", "ZO\u00cb"), ("STRASSE", "straße"), ("a  b", "A B")],
)
def test_spellings_of_one_callsign_have_one_key(one, other):
    assert callsign_key(one) == callsign_key(other)


def test_different_callsigns_have_different_keys():
    assert callsign_key("Wren") != callsign_key("Wren2")


@pytest.mark.parametrize(
    ("typed", "problem"),
    [
        ("", "missing"),
        ("   ", "missing"),
        ("x" * 25, "of 25 characters is too long"),
        ("=1+1", "spreadsheet formula"),
        ("+44", "spreadsheet formula"),
        ("-Wren", "spreadsheet formula"),
        ("@Wren", "spreadsheet formula"),
        ("Wr\x00en", "cannot be seen"),
        ("Wr\u200ben", "cannot be seen"),  # zero-width space: looks like Wren
        ("\u202eWren", "cannot be seen"),  # shows what follows backwards
        ("Wren, Otter", "comma or a semicolon"),
        ("Wren;Otter", "comma or a semicolon"),
    ],
)
def test_refuses_a_callsign_with_a_cure(typed, problem):
    with pytest.raises(FieldsError) as caught:
        read_callsign(typed)
    (fault,) = caught.value.field_faults
    assert (fault.field, fault.text) == ("callsign", typed)
    assert problem in fault.problem
    assert fault.cure


@pytest.mark.parametrize("typed", ["R3", "f8", " L1 ", "R 3", "r-3", "\uff32\uff13"])
def test_a_new_callsign_is_no_channel(typed):
    fault = misleading(typed)
    assert "is a channel, and a callsign must not read like one" in fault.problem


@pytest.mark.parametrize(
    "typed", ["25", "5800", "5.8", "5800 MHz", "25mW", "5:3", "3-2", "CH 3", "\uff12\uff15"]
)
def test_a_new_callsign_is_no_figure(typed):
    fault = misleading(typed)
    assert "reads like a frequency, a power or a number" in fault.problem


def test_its_cure_is_one_that_would_be_taken():
    assert misleading("R 3").cure == "add a letter or a word to it, such as R3-Wren"
    assert misleading("R3-Wren") is None


@pytest.mark.parametrize(
    "typed", ["Wren", "R3D", "R9", "K9", "Wren 2", "2 Fast", "AB", "Channel", "W", "7W7", ""]
)
def test_other_callsigns_with_letters_and_figures_are_taken(typed):
    assert misleading(typed) is None


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("", ()),
        ("otter", ("Otter",)),
        ("Otter, Big Bird", ("Otter", "Big Bird")),
        ("Otter;big bird", ("Otter", "Big Bird")),
        ("Otter Big Bird", ("Otter", "Big Bird")),  # the longest name that fits
        ("Big Otter", ("Big", "Otter")),
        ("Otter, otter", ("Otter",)),
    ],
)
def test_reads_a_list_as_the_roster_spells_it(text, names):
    assert read_callsigns("apart", text, KNOWN, "Wren") == names


def test_an_unknown_callsign_gets_the_one_that_was_probably_meant():
    with pytest.raises(FieldsError) as caught:
        read_callsigns("apart", "Oter", KNOWN, "Wren")
    (fault,) = caught.value.field_faults
    assert (fault.text, fault.cure) == ("Oter", "write Otter")


def test_a_callsign_like_no_other_can_be_added():
    with pytest.raises(FieldsError, match="add that pilot"):
        read_callsigns("apart", "Zephyr", KNOWN, "Wren")


def test_nobody_is_apart_from_oneself():
    with pytest.raises(FieldsError, match="Wren stands in a list of Wren's own"):
        read_callsigns("apart", "Otter wren", KNOWN, "Wren")


@pytest.mark.parametrize(
    "typed",
    [
        "K\N{CYRILLIC SMALL LETTER IE}strel",
        "\N{GREEK CAPITAL LETTER RHO}ook",
        "Two W\N{CYRILLIC SMALL LETTER ER}en",
    ],
)
def test_a_new_callsign_of_letters_that_look_alike_in_several_alphabets_is_refused(typed):
    # Source: Unicode Technical Standard 39, section 5.1 (mixed-script detection)
    assert "several alphabets" in misleading(typed).problem


@pytest.mark.parametrize("typed", ["Чайка", "Γλάρος", "Mouette 2", "Wren Чайка", "João", "カモメ7"])
def test_a_callsign_of_any_one_alphabet_is_taken(typed):
    assert misleading(typed) is None
