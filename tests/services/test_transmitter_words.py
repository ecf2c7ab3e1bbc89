from typing import get_args

import pytest

from server.services.transmitter_words import Word, transmitter_word

WORDS = get_args(Word)


def test_there_are_eight_words():
    assert len(WORDS) == 8


@pytest.mark.parametrize("known_on", [False, True])
@pytest.mark.parametrize("called", WORDS)
def test_without_doubt_the_call_counts(called, known_on):
    assert transmitter_word(called, known_on, in_doubt=False) == called


@pytest.mark.parametrize("known_on", [False, True])
def test_who_is_not_called_stays_off(known_on):
    assert transmitter_word(None, known_on, in_doubt=False) == "STAY OFF"


@pytest.mark.parametrize("called", [None, *WORDS])
def test_in_doubt_nobody_is_told_to_switch_on(called):
    assert transmitter_word(called, False, in_doubt=True) == "STAY OFF"


@pytest.mark.parametrize("called", [None, *WORDS])
def test_in_doubt_nobody_who_may_be_in_the_air_is_told_to_switch_off(called):
    assert transmitter_word(called, True, in_doubt=True) == "ASK THE DIRECTOR"
