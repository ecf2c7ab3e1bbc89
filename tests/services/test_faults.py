"""Faults in one line, whatever the text is."""

import pytest

from server.services.faults import Fault, FaultyInputError, FieldFault, FieldsError, nearest, shown


def test_a_fault_is_one_line_with_place_text_problem_and_cure():
    fault = FieldFault("tunes", "Q", "there is no such band", "write A").at("roster.csv", 3)
    assert str(fault) == "roster.csv:3: tunes: “Q”: there is no such band: write A"


def test_a_text_that_the_problem_quotes_is_not_repeated():
    assert (
        str(Fault("a.csv", 1, "tunes", "Q", "“Q” is no band", "write A"))
        == "a.csv:1: tunes: “Q” is no band: write A"
    )


def test_a_fault_without_a_text_quotes_nothing():
    assert (
        str(Fault("a.csv", 1, "whole file", "", "it is empty", "fill it"))
        == "a.csv:1: whole file: it is empty: fill it"
    )


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a\nb", "a\\nb"),
        ("\x1b[31m", "\\x1b[31m"),
        ("\u202eabc", "\\u202eabc"),
        ("Zoë 鷦", "Zoë 鷦"),
        ("x" * 60, "x" * 60),
        ("x" * 61, "x" * 60 + "…"),
    ],
)
def test_text_is_shown_on_one_line_and_not_too_long(text, line):
    assert shown(text) == line


def test_fields_errors_make_one_text_a_field():
    error = FieldsError(
        [
            FieldFault("tunes", "Q", "“Q” is no band", "write A"),
            FieldFault("power_mw", "x", "this is no power", "write 25"),
            FieldFault("power_mw", "y", "this is no power", "write 25"),
        ]
    )
    assert error.faults == {
        "tunes": "“Q” is no band: write A.",
        "power_mw": "This is no power: write 25. This is no power: write 25.",
    }


def test_faulty_input_reads_one_fault_a_line():
    error = FaultyInputError([Fault("a.csv", 1, "x", "", "p", "c"), Fault("b.csv", 2, "y", "", "q", "d")])
    assert str(error) == "a.csv:1: x: p: c\nb.csv:2: y: q: d"


@pytest.mark.parametrize(
    ("word", "meant"), [("oter", "Otter"), ("OTTER", "Otter"), ("xyz", None), ("o" * 5000, None)]
)
def test_finds_the_word_that_was_probably_meant(word, meant):
    assert nearest(word, ["Wren", "Otter"]) == meant
