"""The roster as a CSV file."""

import pytest

from server.services.roster import COLUMNS
from server.services.roster_files import MOST_PILOTS, read_roster


def roster(text, **options):
    return read_roster(text.encode(), "roster.csv", **options)


def names(read):
    return [pilot.callsign for pilot in read.pilots]


def test_reads_pilots_in_the_order_of_the_file_with_their_lines():
    read = roster("callsign,tunes\nWren,R\n\nOtter,A B\n")
    assert names(read) == ["Wren", "Otter"]
    assert [pilot.line for pilot in read.pilots] == [2, 4]
    assert read.faults == ()


def test_the_order_of_columns_is_free_and_their_names_may_be_spelled_otherwise():
    read = roster("Power mW;TUNES;Callsign\n25 200;R;Wren\n")
    assert read.pilots[0].setup.power_steps_mw == (25, 200)


def test_every_column_is_known():
    cells = {"callsign": "Wren", "tunes": "R", "power_mw": "25", "pin": "R1", "apart": "Otter", "heat": "1"}
    header = ",".join(COLUMNS)
    line = ",".join(cells.get(name, "") for name in COLUMNS)
    read = roster(f"{header}\n{line}\nOtter,R\n")
    assert (names(read), read.notices, read.faults) == (["Wren", "Otter"], (), ())


def test_a_short_row_has_empty_cells_at_its_end():
    assert names(roster("callsign,tunes,power_mw,name\nWren,R\n")) == ["Wren"]
    read = roster("name,note,callsign,tunes\nAnn\n")
    assert [fault.column for fault in read.faults] == ["callsign", "tunes"]


def test_unknown_columns_are_ignored_with_a_notice():
    read = roster("callsign,tunes,shirt size,powermw\nWren,R,M,600\n")
    assert read.pilots[0].setup.power_steps_mw == (25,)
    assert read.notices == (
        "roster.csv:1: the column “shirt size” is not known and ignored",
        "roster.csv:1: the column “powermw” is not known and ignored",
    )


def test_strict_refuses_unknown_columns_and_says_what_may_be_meant():
    read = roster("callsign,tunes,powermw\nWren,R,600\n", strict=True)
    assert (read.pilots, read.notices) == ((), ())
    assert [fault.cure for fault in read.faults] == ["call it power_mw if that is meant, or leave it out"]


def test_columns_of_any_form_can_be_given_their_meaning():
    read = roster(
        "Your nickname?,Which bands,Shoe\nWren,R,43\n",
        meaning={"Your nickname?": "callsign", "Which bands": "tunes"},
    )
    assert (names(read), read.notices) == (["Wren"], ())


def test_with_meanings_given_a_column_means_nothing_by_its_name():
    read = roster("callsign,tunes,nick\nX,R,Wren\n", meaning={"nick": "callsign", "tunes": "tunes"})
    assert names(read) == ["Wren"]


def test_good_rows_are_kept_beside_bad_ones():
    read = roster("callsign,tunes\nWren,R\nOtter,Q\nRook,F\n")
    assert names(read) == ["Wren", "Rook"]
    assert [(fault.line, fault.column, fault.text) for fault in read.faults] == [(3, "tunes", "Q")]


def test_one_may_be_apart_from_a_pilot_whose_row_has_a_fault_or_comes_later():
    read = roster("callsign,tunes,apart\nWren,R,Otter Rook\nOtter,Q,\nRook,R,\n")
    assert read.pilots[0].apart == ("Otter", "Rook")
    assert set(read.known.values()) == {"Wren", "Otter", "Rook"}


def test_a_second_spelling_of_a_callsign_names_the_first_line():
    read = roster("callsign,tunes\nWren,R\nOtter,R\n wREN ,F\n")
    assert names(read) == ["Wren", "Otter"]
    assert read.faults[0].problem == "“wREN” stands on line 2 already"


def test_two_rows_without_a_callsign_are_not_repeats_of_each_other():
    read = roster("callsign,tunes\n,R\n,R\n")
    assert ["missing" in fault.problem for fault in read.faults] == [True, True]


@pytest.mark.parametrize(("count", "is_read"), [(MOST_PILOTS, True), (MOST_PILOTS + 1, False)])
def test_a_field_day_has_at_most_500_pilots(count, is_read):
    read = roster("callsign,tunes\n" + "".join(f"Pilot {number},R\n" for number in range(count)))
    assert (len(read.pilots) == count) is is_read
    assert (read.faults == ()) is is_read
