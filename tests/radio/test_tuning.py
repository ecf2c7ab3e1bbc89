"""Words typed at a desk, and the carriers they mean."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.radio.channels import BANDS, CATALOGUE, band, channel_named
from server.radio.errors import TuningError
from server.radio.tuning import parse_tuning, tuning_words


def labels(text):
    return [label for word in tuning_words(text) for _, label in word.carriers]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("R1", ["R1"]),
        ("r1 F4", ["R1", "F4"]),
        ("R1,F4", ["R1", "F4"]),
        (" R1 ,, F4\t", ["R1", "F4"]),
        ("E1-E3,E5,E6", ["E1", "E2", "E3", "E5", "E6"]),
        ("R1-3", ["R1", "R2", "R3"]),  # what people type for R1-R3
        ("R1 \N{EN DASH} R3", ["R1", "R2", "R3"]),  # a phone's keyboard makes a long dash with spaces
        ("R3-R3", ["R3"]),
        ("5800-5800", ["F4"]),
        ("5:3", ["R3"]),
        ("5:1-5:3", ["R1", "R2", "R3"]),
        ("5:1-3", ["R1", "R2", "R3"]),
        ("\N{FULLWIDTH DIGIT ONE}:\N{FULLWIDTH DIGIT EIGHT}", ["A8"]),  # East Asian keyboard
    ],
)
def test_reads_channels_and_ranges(text, expected):
    assert labels(text) == expected


@pytest.mark.parametrize("letter", BANDS)
def test_a_letter_is_a_whole_band_in_any_case(letter):
    assert parse_tuning(letter.lower()).mhz == tuple(sorted(channel.mhz for channel in band(letter)))


@pytest.mark.parametrize(("number", "letter"), [(1, "A"), (2, "B"), (3, "E"), (4, "F"), (5, "R"), (6, "L")])
def test_push_button_bands_count_in_the_usual_order(number, letter):
    assert labels(f"{number}:8") == [f"{letter}8"]


@pytest.mark.parametrize("text", ["5810", "5810MHz", "5810 mhz"])
def test_a_carrier_in_mhz_needs_no_place_in_the_table(text):
    tuning = parse_tuning(text)
    assert tuning.mhz == (5810,)
    assert tuning.label_for == {5810: None}


@pytest.mark.parametrize("edge_mhz", [5300, 6000])
def test_the_outermost_carriers_are_accepted(edge_mhz):
    assert parse_tuning(str(edge_mhz)).mhz == (edge_mhz,)


def test_a_range_of_mhz_means_the_channels_of_the_table_inside_both_ends_included():
    assert parse_tuning("5725-5733").mhz == (5725, 5732, 5733)
    assert parse_tuning("5725-5733").label_for == {5725: "A8", 5732: "R3", 5733: "B1"}


def test_the_first_label_listed_names_the_carrier():
    assert parse_tuning("R7 F8").label_for == {5880: "R7"}
    assert parse_tuning("F8 R7").label_for == {5880: "F8"}


def test_a_label_names_a_carrier_that_was_first_typed_in_mhz():
    assert parse_tuning("5880 R7").label_for == {5880: "R7"}


def test_each_carrier_is_listed_once_in_ascending_order():
    assert parse_tuning("R8 R1 R8 5658").mhz == (5658, 5917)


@pytest.mark.parametrize(
    ("text", "word", "fault", "cure"),
    [
        ("", "", "no channel is listed", "A B E F R, R1-R8 or 5800"),
        (" , ", "", "no channel is listed", "A B E F R, R1-R8 or 5800"),
        ("A Q", "Q", "names band Q", "the bands are A B E F R L"),
        ("Q1", "Q1", "names band Q", "write the carrier in MHz"),
        ("R9", "R9", "does not have", "write R1 to R8"),
        ("R0", "R0", "does not have", "write R1 to R8"),
        ("R01", "R01", "does not have", "write R1 to R8"),
        ("5:9", "5:9", "does not have", "write R1 to R8"),
        ("7:1", "7:1", "band 7, which no set has", "5:3 is R3"),
        ("0:1", "0:1", "band 0, which no set has", "5:3 is R3"),
        ("R8-R1", "R8-R1", "runs backwards", "write R1-R8"),
        ("5875-5725", "5875-5725", "runs backwards", "write 5725-5875"),
        ("A1-R8", "A1-R8", "within one band", "A1-A8 R1-R8"),
        ("A-F", "A-F", "from band to band", "such as A B F"),
        ("R1-F", "R1-F", "from band to band", "such as A B F"),
        ("5801-5804", "5801-5804", "holds no channel", "widen the range"),
        ("ABEFR", "ABEFR", "no space between its bands", "write A B E F R"),
        ("5.8", "5.8", "not in whole MHz", "write 5800"),
        ("5299", "5299", "not a carrier", "from 5300 to 6000"),
        ("6001", "6001", "not a carrier", "from 5300 to 6000"),
        ("58000", "58000", "not a carrier", "from 5300 to 6000"),
        ("05800", "05800", "not a carrier", "from 5300 to 6000"),
        ("5800-58000", "5800-58000", "not a carrier", "from 5300 to 6000"),
        ("R1-", "R1-", "no band, channel, range or MHz", "such as"),
        ("-R1", "-R1", "no band, channel, range or MHz", "such as"),
        ("R1-R2-R3", "R1-R2-R3", "no band, channel, range or MHz", "such as"),
        ("=R1", "=R1", "no band, channel, range or MHz", "such as"),
    ],
)
def test_says_which_word_is_wrong_and_what_would_be_right(text, word, fault, cure):
    with pytest.raises(TuningError) as caught:
        parse_tuning(text)
    assert caught.value.word == word
    assert fault in caught.value.problem
    assert cure in caught.value.cure
    assert str(caught.value) == f"{caught.value.problem}: {caught.value.cure}"


def test_a_very_long_word_is_kept_whole_and_shown_short():
    word = "9" * 6000
    with pytest.raises(TuningError) as caught:
        parse_tuning(word)
    assert caught.value.word == word
    assert len(str(caught.value)) < 200


@given(st.lists(st.sampled_from([channel.label for channel in CATALOGUE]), min_size=1))
def test_a_list_of_labels_means_their_carriers(names):
    tuning = parse_tuning(" ".join(names))
    assert tuning.mhz == tuple(sorted({channel_named(name).mhz for name in names}))
    assert all(channel_named(label).mhz == mhz for mhz, label in tuning.label_for.items())


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_with_a_cure(text):
    try:
        understood = bool(parse_tuning(text).mhz)
    except TuningError as error:
        understood = bool(error.cure)
    assert understood


@pytest.mark.parametrize("text", ["05:3", "55:3", "5:03", "5:33"])
def test_push_button_gear_counts_with_one_figure(text):
    with pytest.raises(TuningError):
        parse_tuning(text)


def test_one_list_of_words_is_one_tuning_and_can_be_a_key():
    assert {parse_tuning("R1 R2"): 1}[parse_tuning("R1 R2")] == 1


@pytest.mark.parametrize(
    ("letters", "problem"),
    [("AB", "no space between"), ("ABEFRL", "no space between"), ("QQ", "no band, channel")],
)
def test_letters_in_a_row_are_bands_only_where_each_is_one(letters, problem):
    with pytest.raises(TuningError, match=problem):
        parse_tuning(letters)


def test_a_word_of_24_characters_is_shown_whole():
    for length, is_whole in ((24, True), (25, False)):
        with pytest.raises(TuningError) as caught:
            parse_tuning("x" * length)
        assert ("x" * length + "”" in caught.value.problem) is is_whole


def test_all_is_answered_with_the_usual_bands():
    with pytest.raises(TuningError, match="A B E F R"):
        parse_tuning("all")
