"""What a pilot of a called heat is told beside the word, as one or two sentences."""

from collections.abc import Mapping

from server.services.transmitter_words import (
    ASK_THE_DIRECTOR,
    DISARM_THEN_POWER_OFF,
    DOWN_STILL_ON,
    LAND,
    READY,
    Word,
)
from server.storage import tables

WALKERS = "Walkers are on the field."
WALKERS_FIRST = f"{WALKERS} Do not power up. On already? Leave the motors disarmed and wait."

_IN_CALL: Mapping[str, str] = {
    tables.WAITING: "Your heat is called. Set the channel, do not power: your turn comes.",
    tables.POWER_UP: "Power up on {named}, on the ground. Clear picture, or a problem? Press its button.",
    tables.PICTURE_CLEAR: "Your picture is clear. Leave it on, stay on the ground, wait for FLY.",
    tables.FLYING: "The heat is released. Fly until the director calls you to land.",
    tables.LANDING: "Fly home and land. Nobody powers off in the air.",
    tables.LANDED: "In the air still? Land first. Then disarm, power off, and press the button.",
    tables.DOWN: "Others keep off your channel. Tell the director once it is found and off.",
}

_EVERYBODY_LAND: Mapping[Word, str] = {
    LAND: "Fly home and land now. Nobody powers off in the air.",
    DISARM_THEN_POWER_OFF: "If you are in the air, fly home first. Then disarm and power off.",
    DOWN_STILL_ON: "Your transmitter is down and still on.",
}
_NOBODY_ON = "Nobody switches on until the director lifts it."

OFF_NOW = "You are done with this heat. The director's voice outranks this screen."
LEFT_OUT = "You are left out of this heat. Tell the director that you are here, if you are."
NEXT = "Your heat is next. Set the channel, do not power until you are called."


def in_call(stage: str, word: Word, named: str) -> str:
    """What a pilot does at this stage of the call; `named` is the channel, "R1 5658 MHz"."""
    if word == ASK_THE_DIRECTOR:
        return f"{WALKERS} Leave the motors disarmed and wait for the director."
    if word == READY and stage == tables.POWER_UP:
        return WALKERS_FIRST
    if stage == tables.OFF:
        return OFF_NOW
    if stage == tables.LEFT_OUT:
        return LEFT_OUT
    return _IN_CALL[stage].format(named=named)


def everybody_lands(reason: str, word: Word) -> str:
    """The director's reason, and what this pilot does."""
    ends = "" if reason[-1:] in tuple(".!?") else "."
    return f"{reason}{ends} {_EVERYBODY_LAND.get(word, _NOBODY_ON)}"


def with_clearance(stage: str, why: str, words: str, word: Word) -> str:
    """What a pilot does who asked to switch on outside a call."""
    if stage == tables.UNASKED:
        return "You are on, unasked: others may see it. Disarm, power off, then press the button."
    if word == DISARM_THEN_POWER_OFF:
        return "Power off now, then press the button."
    if word == ASK_THE_DIRECTOR:
        return f"{WALKERS} Leave the motors disarmed and wait for the director."
    if stage == tables.WAITING:
        return f"You asked to switch on: {why}. {words}"
    if word == READY and stage == tables.CLEARED:
        return WALKERS_FIRST
    if stage == tables.ON:
        return f"You are on: {why}. Power off as soon as you are done, then press the button."
    return f"Cleared to switch on: {why}. Propellers off. Press the button once it is on."
