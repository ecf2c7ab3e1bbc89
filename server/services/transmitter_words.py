"""The word that says what to do with a transmitter: one function for every page, stream and test. No page uses
another word.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from server.services.flight_states import KNOWN_ON, MAY_BE_ON
from server.storage import tables
from server.wording import marked

Word = Literal[
    "STAY OFF",
    "READY",
    "POWER UP",
    "FLY",
    "LAND",
    "DISARM THEN POWER OFF",
    "DOWN, STILL ON",
    "ASK THE DIRECTOR",
]

STAY_OFF: Word = marked("STAY OFF")
READY: Word = marked("READY")
POWER_UP: Word = marked("POWER UP")
FLY: Word = marked("FLY")
LAND: Word = marked("LAND")
DISARM_THEN_POWER_OFF: Word = marked("DISARM THEN POWER OFF")
DOWN_STILL_ON: Word = marked("DOWN, STILL ON")
ASK_THE_DIRECTOR: Word = marked("ASK THE DIRECTOR")

_IN_CALL: Mapping[str, Word] = {
    tables.WAITING: READY,
    tables.POWER_UP: POWER_UP,
    tables.PICTURE_CLEAR: POWER_UP,
    tables.FLYING: FLY,
    tables.LANDING: LAND,
    tables.LANDED: DISARM_THEN_POWER_OFF,
    tables.DOWN: DOWN_STILL_ON,
}
"""OFF and LEFT OUT are missing: what else the pilot does today then has the word."""

_AT_OPEN_FLYING: Mapping[str, Word] = {
    tables.WAITING: STAY_OFF,
    tables.READY: READY,
    tables.POWER_UP: POWER_UP,
    tables.FLYING: FLY,
    tables.LANDING: LAND,
    tables.DOWN: DOWN_STILL_ON,
}

_UP = (tables.FLYING, tables.LANDING, tables.DOWN)

NOT_YET = (tables.WAITING, tables.READY)
"""Stages of a turn that was not told to power up."""

_WITH_CLEARANCE: Mapping[str, Word] = {
    tables.CLEARED: POWER_UP,
    tables.ON: POWER_UP,
    tables.CALLED_OFF: DISARM_THEN_POWER_OFF,
    tables.UNASKED: DISARM_THEN_POWER_OFF,
}

_CALLED_OFF: Mapping[Word, Word] = {
    FLY: LAND,
    LAND: LAND,
    POWER_UP: DISARM_THEN_POWER_OFF,
    DISARM_THEN_POWER_OFF: DISARM_THEN_POWER_OFF,
    DOWN_STILL_ON: DOWN_STILL_ON,
}
"""What becomes of a word when its pilot is called off; every other one becomes STAY OFF."""


@dataclass(frozen=True)
class Facts:
    """What the word for one transmitter hangs on.

    everybody_land  EVERYBODY LAND is on
    walkers         people walk on the field
    call            the pilot's stage in the live call; None for who is not in it
    turn            the stage of the pilot's turn at open flying; None without one
    turn_was_on     the picture of that turn was clear once
    clearance       the stage of the pilot's clearance; None without one
    clearance_was_on  its transmitter was said to be on
    is_down         a transmitter of the pilot's is down and still on
    is_next         the pilot's heat is the next to be called
    is_called_off   the pilot left the day, or open flying is closed: nobody takes off any more
    in_doubt        gear or channel changed since, or what is shown may no longer be what the director decided
    """

    everybody_land: bool = False
    walkers: bool = False
    call: str | None = None
    turn: str | None = None
    turn_was_on: bool = False
    clearance: str | None = None
    clearance_was_on: bool = False
    is_down: bool = False
    is_next: bool = False
    is_called_off: bool = False
    in_doubt: bool = False


def is_known_on(facts: Facts) -> bool:
    """Whether somebody confirmed that a transmitter of this pilot is on, and nobody that it is off again."""
    in_call, at_open_flying = facts.call in KNOWN_ON, facts.turn is not None and facts.turn_was_on
    in_the_pits = facts.clearance in (tables.ON, tables.UNASKED) or (
        facts.clearance == tables.CALLED_OFF and facts.clearance_was_on
    )
    return in_call or at_open_flying or in_the_pits or facts.is_down


def word_for(facts: Facts) -> Word:
    """The word for one transmitter.

    In doubt nobody is told to switch on, and nobody in the air is told to switch off; whoever may be on is never
    told to stay off by EVERYBODY LAND or by being called off.
    """
    word = _undoubted(facts)
    if facts.everybody_land or facts.is_called_off:
        return _CALLED_OFF.get(word, STAY_OFF)
    if word in (LAND, DISARM_THEN_POWER_OFF, DOWN_STILL_ON):
        return word
    if facts.in_doubt:
        return ASK_THE_DIRECTOR if is_known_on(facts) else STAY_OFF
    if facts.walkers and word == POWER_UP:
        return ASK_THE_DIRECTOR if is_known_on(facts) else READY
    return word


def word_on_a_stale_page(facts: Facts) -> Word:
    """The word once the page may be out of date: the director may have decided anything since."""
    return ASK_THE_DIRECTOR if is_known_on(facts) else STAY_OFF


def _undoubted(facts: Facts) -> Word:
    """What the pilot was told to do: in a call before a turn, before a clearance, before a lost transmitter.

    Who is on unasked powers off first, unless in the air by a place in a call or a turn. A turn that does not
    power yet is after a clearance, by which the transmitter may be on.
    """
    may_be_up = facts.call in MAY_BE_ON or facts.turn in (tables.POWER_UP, *_UP)
    if facts.clearance == tables.UNASKED and not may_be_up:
        return DISARM_THEN_POWER_OFF
    if facts.call is not None and facts.call in _IN_CALL:
        return _IN_CALL[facts.call]
    may_be_on_outside = facts.clearance in _WITH_CLEARANCE
    if facts.turn is not None and not (facts.turn in NOT_YET and may_be_on_outside):
        word = _AT_OPEN_FLYING[facts.turn]
        return DISARM_THEN_POWER_OFF if word == LAND and not facts.turn_was_on else word
    if facts.clearance is not None and facts.clearance in _WITH_CLEARANCE:
        return _WITH_CLEARANCE[facts.clearance]
    if facts.is_down:
        return DOWN_STILL_ON
    return READY if facts.is_next else STAY_OFF
