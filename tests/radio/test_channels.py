"""The catalogue: what a label means, what else a frequency is called, what can be mistaken for it."""

import pytest

from server.radio.channels import BANDS, CATALOGUE, band, channel_named, labels_at, lookalikes, twins


def test_holds_six_bands_of_eight_channels():
    assert BANDS == ("A", "B", "E", "F", "R", "L")
    assert [len(band(letter)) for letter in BANDS] == [8] * 6
    assert len(CATALOGUE) == 48


@pytest.mark.parametrize(
    ("label", "mhz"),
    [
        ("A1", 5865),  # band A falls with its number
        ("A8", 5725),
        ("B1", 5733),
        ("E4", 5645),  # band E falls, then jumps up
        ("E5", 5885),
        ("F8", 5880),
        ("R1", 5658),
        ("r8", 5917),  # any case
        ("L8", 5621),
    ],
)
def test_names_a_carrier(label, mhz):
    assert channel_named(label).mhz == mhz
    assert channel_named(label).label == label.upper()


def test_an_unknown_label_is_a_key_error():
    with pytest.raises(KeyError):
        channel_named("Q1")


def test_bands_are_listed_by_number_in_any_case():
    assert [channel.label for channel in band("r")] == [f"R{number}" for number in range(1, 9)]
    assert band("Q") == ()


def test_two_labels_can_mean_one_frequency():
    assert labels_at(5880) == ("F8", "R7")
    assert labels_at(5658) == ("R1",)
    assert labels_at(5810) == ()


def test_lookalikes_are_other_frequencies_within_15_mhz_nearest_first():
    assert [channel.label for channel in lookalikes(5800)] == ["A4", "R5", "B5", "B4", "A5"]
    assert [abs(channel.mhz - 5800) for channel in lookalikes(5800)] == [5, 6, 9, 10, 15]


def test_another_label_of_the_same_frequency_is_no_lookalike():
    assert {channel.label for channel in lookalikes(5880)} == {"A1", "B8", "E5"}


def test_lookalikes_can_be_asked_for_a_narrower_span():
    assert [channel.label for channel in lookalikes(5800, within_mhz=5)] == ["A4"]


@pytest.mark.parametrize(
    ("label", "twin"),
    [("A1", "B8"), ("B8", "A1"), ("R5", "A4"), ("A4", "R5"), ("R3", "B1")],
)
def test_channels_1_mhz_apart_are_twins(label, twin):
    assert [channel.label for channel in twins(channel_named(label).mhz)] == [twin]


def test_most_channels_have_no_twin():
    assert twins(5658) == ()
    assert twins(5769) == ()  # B3 is 2 MHz away


def test_16_mhz_is_too_far_for_a_lookalike():
    assert 5785 not in [channel.mhz for channel in lookalikes(5769)]
