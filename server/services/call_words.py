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
from server.wording import gettext as _
from server.wording import marked

WALKERS_FIRST = marked(
    "Walkers are on the field. Do not power up. On already? Leave the motors disarmed and wait."
)
WAIT_FOR_THE_DIRECTOR = marked(
    "Walkers are on the field. Leave the motors disarmed and wait for the director."
)

_IN_CALL: Mapping[str, str] = {
    tables.WAITING: marked("Your heat is called. Set the channel, do not power: your turn comes."),
    tables.POWER_UP: marked(
        "Power up on %(channel)s, on the ground. Clear picture, or a problem? Press its button."
    ),
    tables.PICTURE_CLEAR: marked("Your picture is clear. Leave it on, stay on the ground, wait for FLY."),
    tables.FLYING: marked("The heat is released. Fly until the director calls you to land."),
    tables.LANDING: marked("Fly home and land. Nobody powers off in the air."),
    tables.LANDED: marked("In the air still? Land first. Then disarm, power off, and press the button."),
    tables.DOWN: marked("Others keep off your channel. Tell the director once it is found and off."),
}

_EVERYBODY_LAND: Mapping[Word, str] = {
    LAND: marked("Fly home and land now. Nobody powers off in the air."),
    DISARM_THEN_POWER_OFF: marked("If you are in the air, fly home first. Then disarm and power off."),
    DOWN_STILL_ON: marked("Your transmitter is down and still on."),
}
_NOBODY_ON = marked("Nobody switches on until the director lifts it.")

OFF_NOW = marked("You are done with this heat. The director's voice outranks this screen.")
LEFT_OUT = marked("You are left out of this heat. Tell the director that you are here, if you are.")
NEXT = marked("Your heat is next. Set the channel, do not power until you are called.")


def in_call(stage: str, word: Word, named: str) -> str:
    """What a pilot does at this stage of the call; `named` is the channel, "R1 5658 MHz"."""
    if word == ASK_THE_DIRECTOR:
        return _(WAIT_FOR_THE_DIRECTOR)
    if word == READY and stage == tables.POWER_UP:
        return _(WALKERS_FIRST)
    if stage == tables.OFF:
        return _(OFF_NOW)
    if stage == tables.LEFT_OUT:
        return _(LEFT_OUT)
    return _(_IN_CALL[stage], channel=named)


def everybody_lands(reason: str, word: Word) -> str:
    """The director's reason, and what this pilot does."""
    ends = "" if reason[-1:] in tuple(".!?") else "."
    return f"{reason}{ends} {_(_EVERYBODY_LAND.get(word, _NOBODY_ON))}"


def with_clearance(stage: str, why: str, words: str, word: Word) -> str:
    """What a pilot does who asked to switch on outside a call."""
    if stage == tables.UNASKED:
        return _("You are on, unasked: others may see it. Disarm, power off, then press the button.")
    if word == DISARM_THEN_POWER_OFF:
        return _("Power off now, then press the button.")
    if word == ASK_THE_DIRECTOR:
        return _(WAIT_FOR_THE_DIRECTOR)
    if stage == tables.WAITING:
        return _("You asked to switch on: %(why)s. %(words)s", why=why, words=words)
    if word == READY and stage == tables.CLEARED:
        return _(WALKERS_FIRST)
    if stage == tables.ON:
        return _("You are on: %(why)s. Power off as soon as you are done, then press the button.", why=why)
    return _("Cleared to switch on: %(why)s. Propellers off. Press the button once it is on.", why=why)
