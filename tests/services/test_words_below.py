"""What the layers without a catalogue say stands where translators look for it."""

from server.radio.grade import grade_word
from server.services import words_below
from server.storage import tables


def test_every_word_for_a_picture_is_listed() -> None:
    assert {grade_word(tenths / 10) for tenths in range(10, 51)} == set(words_below.GRADES)


def test_every_state_that_is_shown_is_listed() -> None:
    assert set(tables.PILOT_STATES) == set(words_below.PILOT_STATES)
    assert {*tables.CLEARANCE_REASONS, tables.NOT_KNOWN} == set(words_below.CLEARANCES)
    assert set(tables.CLEARANCE_PLACES) == set(words_below.PLACES)
