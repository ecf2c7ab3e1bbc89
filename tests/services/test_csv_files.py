"""Tables of text: separators, quotes, lines and encodings."""

import pytest

from server.services.csv_files import (
    LARGEST_BYTES,
    column_key,
    decode,
    read_file,
    read_table,
)
from server.services.faults import FaultyInputError

EXPECTED = ("callsign", "tunes")


def table(text):
    return read_table(text.encode(), "roster.csv", EXPECTED)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_finds_the_separator_from_the_header(separator):
    read = table(f"callsign{separator}tunes\nWren{separator}A B\n")
    assert read.columns == ("callsign", "tunes")
    assert read.rows == ((2, ("Wren", "A B")),)


def test_a_separator_inside_quoted_cells_of_the_header_does_not_mislead():
    read = table('"last, first";callsign;tunes\n"Lee, Ann";Wren;R\n')
    assert read.columns == ("last, first", "callsign", "tunes")


def test_one_column_alone_is_a_table_too():
    assert table("callsign\nWren\n").columns == ("callsign",)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_ending_counts_lines_alike(end):
    assert table(f"callsign,tunes{end}Wren,R{end}Otter,F").rows == ((2, ("Wren", "R")), (3, ("Otter", "F")))


def test_a_cell_over_two_lines_keeps_the_line_of_its_row():
    read = table('callsign,tunes\n"Big\nBird",R\nWren,R\n')
    assert read.rows == ((2, ("Big\nBird", "R")), (4, ("Wren", "R")))


def test_rare_line_separators_inside_cells_do_not_shift_lines():
    read = table("callsign,tunes\nWr\u2028en,R\nOtter,R\n")
    assert [line for line, _ in read.rows] == [2, 3]


def test_blank_rows_and_blank_columns_at_the_end_are_left_out():
    read = table("callsign,tunes,,\n,,,\nWren,R,,\n\n")
    assert read.columns == ("callsign", "tunes")
    assert [line for line, _ in read.rows] == [3]


def test_a_byte_order_mark_is_no_part_of_the_first_column():
    assert read_table(b"\xef\xbb\xbfcallsign,tunes\n", "roster.csv", EXPECTED).columns[0] == "callsign"


def test_cells_are_trimmed():
    assert table("callsign , tunes\n Wren ,  R \n").rows == ((2, ("Wren", "R")),)


def test_a_missing_quote_is_found_on_the_line_where_it_starts():
    with pytest.raises(FaultyInputError) as caught:
        table("callsign,tunes\nWren,R\n" + '"Otter,R\n' + "x,R\n" * 50_000)
    (fault,) = caught.value.faults
    assert (fault.line, fault.text) == (3, '"Otter,R')


def test_a_cell_that_is_too_long_is_found_on_its_line_also_in_the_header():
    for text, line in (
        ("callsign,tunes\nWren,R\nOtter," + "R" * 140_000, 3),
        ("callsign," + "x" * 140_000, 1),
    ):
        with pytest.raises(FaultyInputError, match="longer than 131072 characters") as caught:
            table(text)
        assert caught.value.faults[0].line == line


def test_a_wrong_byte_is_found_with_its_line_and_place():
    with pytest.raises(FaultyInputError) as caught:
        decode(b"callsign\nWren\nZo\xeb!\nx", "roster.csv")
    (fault,) = caught.value.faults
    assert (fault.line, fault.column, fault.text) == (3, "character 3", "Zo\\xeb!")


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("callsign", "callsign"),
        (" Power mW ", "power_mw"),
        ("RX-Antenna", "rx_antenna"),
        ("Zoe\u0308", "zo\u00eb"),
    ],
)
def test_spellings_of_a_column_have_one_key(name, key):
    assert column_key(name) == key


def test_reads_a_file_up_to_the_largest_size(tmp_path):
    file = tmp_path / "roster.csv"
    file.write_bytes(b"x" * LARGEST_BYTES)
    assert len(read_file(file)) == LARGEST_BYTES


def test_a_name_that_no_file_can_have_is_a_fault():
    with pytest.raises(FaultyInputError, match="cannot be read"):
        read_file("a\0b.csv")
