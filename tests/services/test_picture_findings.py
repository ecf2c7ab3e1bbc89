import pytest

from server.radio.receiver import off_tune_loss_db
from server.services.gear import read_setup
from server.services.picture_findings import Read, Readings, named, named_all


def readings(truth_mhz, *tunings_mhz, claimed_mhz=5732, tunes="A B E F R"):
    reads = [Read(one, round(-50 - float(off_tune_loss_db(one - truth_mhz))), "dB") for one in tunings_mhz]
    return Readings(reads, claimed_mhz, read_setup({"tunes": tunes}, "Wren"))


@pytest.mark.parametrize(
    ("mhz", "words"), [(5880, "F8/R7 5880"), (5732, "R3 5732"), (5801, "5801 MHz"), (5362, "L1 5362")]
)
def test_a_carrier_is_named_by_all_its_labels(mhz, words):
    assert named(mhz) == words


def test_twins_are_named_together():
    assert named_all((5865, 5866)) == "A1 5865 or B8 5866"
    likely = readings(5865, 5865, 5845, 5885, claimed_mhz=5865).likely
    assert likely[0].carriers_mhz == (5865, 5866)


def test_the_first_reading_is_on_the_claimed_channel():
    assert readings(5732).next_mhz == 5732
    assert readings(5732).verdict == "in doubt"


def test_only_what_the_transmitter_tunes_comes_into_question():
    found = readings(5740, 5732, tunes="A B E F R").finding.chances
    assert 5362 not in found
    assert 5740 in found
    assert 5740 not in readings(5740, 5732, tunes="R").finding.chances


@pytest.mark.parametrize("tunes", ["?", "R3", "R1-R7"])
def test_all_of_the_table_comes_into_question_where_the_gear_is_not_known_or_few_are_listed(tunes):
    assert 5362 in readings(5740, 5732, tunes=tunes).finding.chances


def test_all_of_the_table_comes_into_question_where_nothing_listed_explains_the_readings():
    """Band R has nothing near B2 5752, where this one is read loudest, 20 MHz from R3 and 17 from R4."""
    found = readings(5752, 5732, 5752, 5769, tunes="R").finding
    assert found.likeliest.carriers_mhz == (5752,)
    assert found.does_fit


def test_few_receivers_tune_the_lowest_band_so_only_its_own_sets_are_read_there():
    asked = [readings(5740, 5732, tunes="?").next_mhz, readings(5584, 5732, 5800, tunes="?").next_mhz]
    assert all(one is None or one >= 5645 for one in asked)
    assert readings(5510, 5547, claimed_mhz=5547, tunes="L").next_mhz < 5645


def test_nothing_is_asked_once_it_is_settled():
    settled = readings(5740, 5732, 5720, 5760, 5725)
    assert settled.verdict == "wrong"
    assert settled.next_mhz is None


def test_one_reading_names_no_place():
    assert readings(5740, 5732).likely == ()
    assert len(readings(5740, 5732, 5752).likely) <= 3


def test_four_readings_are_as_many_as_are_asked_for():
    assert not readings(5740, 5732, 5720, 5760).is_through
    assert readings(5740, 5732, 5720, 5760, 5725).is_through
