"""The word that says what to do with a transmitter, and the rule for doubt. No page uses another word."""

from typing import Literal

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

STAY_OFF: Word = "STAY OFF"
READY: Word = "READY"
POWER_UP: Word = "POWER UP"
FLY: Word = "FLY"
LAND: Word = "LAND"
DOWN_STILL_ON: Word = "DOWN, STILL ON"
ASK_THE_DIRECTOR: Word = "ASK THE DIRECTOR"


def transmitter_word(called: Word | None, known_on: bool, in_doubt: bool) -> Word:
    """The word for one transmitter.

    called    what the director's call says to it, None while its heat is not called
    known_on  somebody confirmed that it is on, and nobody that it is off again
    in_doubt  what is shown may no longer be what the director decided

    In doubt nobody is told to switch on, and nobody in the air is told to switch off.
    """
    if in_doubt:
        return ASK_THE_DIRECTOR if known_on else STAY_OFF
    return called or STAY_OFF
