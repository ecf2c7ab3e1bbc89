import pytest

from server.services.outside_lines import (
    LEVELS_DBM,
    LONGEST_NOTE,
    OutsideLine,
    OutsideLineError,
    block_words,
    level_words,
    read_line,
)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("5745 20 -70 camera van", OutsideLine(5745, 20, -70, "camera van")),
        ("5745", OutsideLine(5745, 10, -70)),
        ("5745 MHz 0 \N{MINUS SIGN}85 dBm", OutsideLine(5745, 0, -85)),
        ("5745.5MHz,20MHz,-62.5dBm", OutsideLine(5745.5, 20, -62.5)),
        ("r3 weak", OutsideLine(5732, 10, -85)),
        ("R3 strong 18 somebody across the road", OutsideLine(5732, 18, -50, "somebody across the road")),
        ("wifi 149", OutsideLine(5745, 20, -70, "Wi-Fi channel 149")),
        (
            "Wi-Fi channel 149 80 weak scoring hut",
            OutsideLine(5775, 80, -85, "Wi-Fi channel 149: scoring hut"),
        ),
        ("5745 club 2 repeater", OutsideLine(5745, 10, -70, "club 2 repeater")),
        ("5380", OutsideLine(5380, 10, -70)),
    ],
)
def test_a_line_says_where_how_wide_and_how_strong(text, line):
    assert read_line(text) == line


@pytest.mark.parametrize(
    ("text", "problem", "cure"),
    [
        ("  ", "No signal is named", "write 5745"),
        ("van at 5745", "“van” is no frequency, channel or Wi-Fi channel", "begin with one"),
        ("Z3 weak", "“Z3” is no frequency", "begin with one"),
        ("wifi", "Wi-Fi needs the number of its channel", "wifi 149"),
        ("wifi fast", "Wi-Fi needs the number of its channel", "wifi 149"),
        ("wifi 14", "There is no Wi-Fi channel 14", "36 to 64"),
        ("wifi 149 30", "There is no Wi-Fi 30 MHz wide", "20, 40, 80 or 160"),
        ("5745 200", "A width of 200 MHz is not understood", "0 to 160"),
        ("5745 20 -200", "A level of -200 dBm is not understood", "weak, middling or strong"),
        ("2450", "2450 MHz is clear of the video channels", "outside 5300 to 6000"),
        ("wifi 36", "5180 MHz is clear of the video channels", "nothing need be noted"),
        (f"5745 {'x' * (LONGEST_NOTE + 1)}", "The note is too long", "80 characters"),
    ],
)
def test_a_line_that_cannot_be_used_says_why_and_what_would_be_right(text, problem, cure):
    with pytest.raises(OutsideLineError) as refused:
        read_line(text)
    assert refused.value.problem.startswith(problem)
    assert cure in refused.value.cure


def test_a_note_of_the_longest_length_is_kept():
    assert read_line(f"5745 {'x' * LONGEST_NOTE}").note == "x" * LONGEST_NOTE


def test_levels_and_blocks_are_told_in_words():
    assert level_words(LEVELS_DBM["weak"]) == "weak, \N{MINUS SIGN}85 dBm"
    assert level_words(-62.5) == "\N{MINUS SIGN}62.5 dBm"
    assert block_words(5745, 20) == "5745 MHz, 20 MHz wide"
    assert block_words(5745.5, 0) == "5745.5 MHz, a carrier"
