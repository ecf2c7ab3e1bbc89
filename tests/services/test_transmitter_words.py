from dataclasses import replace
from itertools import product
from typing import get_args

import pytest

from server.services.transmitter_words import Facts, Word, is_known_on, word_for, word_on_a_stale_page
from server.storage.tables import CALL_SLOT_STAGES, CLEARANCE_STAGES, TURN_STAGES

ANY_CALL = (None, *CALL_SLOT_STAGES)
MAY_BE_ON = ("power up", "picture clear", "flying", "landing", "landed", "down, still on")
SENDS_UP = ("POWER UP", "FLY")


def every_case():
    """Every combination of stages; whoever flies at open flying had a clear picture."""
    stages = product(ANY_CALL, (None, *TURN_STAGES), (None, *CLEARANCE_STAGES), (False, True), (False, True))
    for call, turn, clearance, is_down, is_next in stages:
        was_on = turn in ("flying", "down, still on")
        yield Facts(
            call=call,
            turn=turn,
            turn_was_on=was_on,
            clearance=clearance,
            is_down=is_down,
            is_next=is_next,
        )


CASES = tuple(every_case())


def test_there_are_eight_words():
    assert len(get_args(Word)) == 8


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        (None, "STAY OFF"),
        ("waiting", "READY"),
        ("power up", "POWER UP"),
        ("picture clear", "POWER UP"),
        ("flying", "FLY"),
        ("landing", "LAND"),
        ("landed", "DISARM THEN POWER OFF"),
        ("off", "STAY OFF"),
        ("down, still on", "DOWN, STILL ON"),
        ("left out", "STAY OFF"),
    ],
)
def test_in_a_call_the_stage_has_its_word(stage, word):
    assert word_for(Facts(call=stage)) == word


@pytest.mark.parametrize(
    ("stage", "was_on", "word"),
    [
        ("waiting", False, "STAY OFF"),
        ("ready", False, "READY"),
        ("power up", False, "POWER UP"),
        ("flying", True, "FLY"),
        ("landing", True, "LAND"),
        ("landing", False, "DISARM THEN POWER OFF"),
        ("down, still on", True, "DOWN, STILL ON"),
    ],
)
def test_at_open_flying_the_turn_has_its_word(stage, was_on, word):
    assert word_for(Facts(turn=stage, turn_was_on=was_on)) == word


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        ("waiting", "STAY OFF"),
        ("cleared", "POWER UP"),
        ("on", "POWER UP"),
        ("called off", "DISARM THEN POWER OFF"),
        ("off", "STAY OFF"),
    ],
)
def test_a_clearance_has_its_word(stage, word):
    assert word_for(Facts(clearance=stage)) == word


def test_who_is_next_is_ready_and_a_lost_transmitter_comes_before_that():
    assert word_for(Facts(is_next=True)) == "READY"
    assert word_for(Facts(is_next=True, is_down=True)) == "DOWN, STILL ON"


def test_who_is_through_with_a_call_may_be_next_again():
    assert word_for(Facts(call="off", is_next=True)) == "READY"


def test_the_call_comes_before_a_turn_a_clearance_and_a_lost_aircraft():
    assert word_for(Facts(call="flying", turn="ready", clearance="waiting", is_down=True)) == "FLY"


@pytest.mark.parametrize("turn", ["waiting", "ready"])
def test_a_clearance_comes_before_a_turn_that_is_not_told_to_power_up(turn):
    assert word_for(Facts(turn=turn, clearance="on")) == "POWER UP"
    assert word_for(Facts(turn=turn, clearance="called off")) == "DISARM THEN POWER OFF"
    assert word_for(Facts(turn=turn, clearance="waiting")) == ("READY" if turn == "ready" else "STAY OFF")


@pytest.mark.parametrize("case", CASES[:: len(CASES) // 60])
def test_under_everybody_land_a_few_by_name(case):
    word = word_for(replace(case, everybody_land=True))
    assert word in ("LAND", "DISARM THEN POWER OFF", "DOWN, STILL ON", "STAY OFF")


def test_everybody_land_sends_nobody_up_and_tells_nobody_who_may_be_on_to_stay_off():
    for case, walkers, doubt in product(CASES, (False, True), (False, True)):
        word = word_for(replace(case, everybody_land=True, walkers=walkers, in_doubt=doubt))
        assert word not in (*SENDS_UP, "READY")
        if case.call in MAY_BE_ON:
            assert word != "STAY OFF"


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        ("waiting", "STAY OFF"),
        ("power up", "DISARM THEN POWER OFF"),
        ("picture clear", "DISARM THEN POWER OFF"),
        ("flying", "LAND"),
        ("landing", "LAND"),
        ("landed", "DISARM THEN POWER OFF"),
        ("down, still on", "DOWN, STILL ON"),
    ],
)
def test_everybody_land_by_stage(stage, word):
    assert word_for(Facts(call=stage, everybody_land=True)) == word
    assert word_for(Facts(call=stage, is_called_off=True)) == word


def test_in_the_air_everybody_land_is_never_power_off():
    assert word_for(Facts(turn="flying", turn_was_on=True, everybody_land=True)) == "LAND"
    assert word_for(Facts(turn="flying", turn_was_on=True, everybody_land=True, in_doubt=True)) == "LAND"


def test_walkers_turn_power_up_into_ready_or_for_who_is_on_into_ask():
    assert word_for(Facts(call="power up", walkers=True)) == "READY"
    assert word_for(Facts(call="picture clear", walkers=True)) == "ASK THE DIRECTOR"
    assert word_for(Facts(clearance="on", walkers=True)) == "ASK THE DIRECTOR"
    assert word_for(Facts(turn="power up", walkers=True)) == "READY"


def test_walkers_let_those_in_the_air_fly():
    assert word_for(Facts(call="flying", walkers=True)) == "FLY"


def test_with_walkers_nobody_powers_up():
    assert all(word_for(replace(case, walkers=True)) != "POWER UP" for case in CASES)


def test_in_doubt_nobody_is_sent_up_and_nobody_known_on_is_told_to_stay_off():
    for case in CASES:
        doubtful = replace(case, in_doubt=True)
        assert word_for(doubtful) not in SENDS_UP
        if is_known_on(case):
            assert word_for(doubtful) != "STAY OFF"


def test_who_is_on_the_way_out_goes_on_so_in_doubt():
    assert word_for(Facts(call="landing", in_doubt=True)) == "LAND"
    assert word_for(Facts(call="landed", in_doubt=True)) == "DISARM THEN POWER OFF"


def test_a_stale_page_says_ask_to_who_is_known_on_and_stay_off_to_everybody_else():
    for case in CASES:
        expected = "ASK THE DIRECTOR" if is_known_on(case) else "STAY OFF"
        assert word_on_a_stale_page(case) == expected


@pytest.mark.parametrize(
    ("facts", "known"),
    [
        (Facts(), False),
        (Facts(call="waiting"), False),
        (Facts(call="power up"), False),
        (Facts(call="picture clear"), True),
        (Facts(call="flying"), True),
        (Facts(call="landing"), True),
        (Facts(call="landed"), True),
        (Facts(call="down, still on"), True),
        (Facts(call="off"), False),
        (Facts(call="left out"), False),
        (Facts(turn="flying", turn_was_on=True), True),
        (Facts(turn="power up"), False),
        (Facts(clearance="cleared"), False),
        (Facts(clearance="on"), True),
        (Facts(is_down=True), True),
    ],
)
def test_known_on(facts, known):
    assert is_known_on(facts) is known
