"""The stages of a call and of each pilot in it, and the moves between them, as data: pure, no database, no clock.

Everything that changes a stage goes through `pilot_after` and `call_after`; what is not in the tables is refused
with a sentence. `why_not` adds what holds for the whole line: EVERYBODY LAND, walkers, where the call stands.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.services.errors import RefusedError
from server.storage.tables import (
    DOWN,
    FLYING,
    LANDED,
    LANDING,
    LEFT_OUT,
    OFF,
    OVER,
    PICTURE_CLEAR,
    POWER_UP,
    POWERING_UP,
    WAITING,
)
from server.wording import gettext as _
from server.wording import marked

YOUR_TURN = "your turn"
TURN_OVERRIDDEN = "turn overridden"
PICTURE_IS_CLEAR = "picture is clear"
NOT_CLEAR = "not clear"
RELEASE = "release"
LAND = "land"
FLIES_ON = "flies on"
HAS_LANDED = "landed"
STILL_UP = "still up"
IS_OFF = "off"
NOT_OFF = "not off"
STAND_DOWN = "stand down"
LEAVE_OUT = "leave out"
BACK_IN_LINE = "back in line"
IS_DOWN = "down"
ON_UNASKED = "on unasked"
FOUND = "found"

STOP = "stop"
FLY_ON = "fly on"
END = "end"
REOPEN = "reopen"

PILOT_MOVES: Mapping[str, Mapping[str, str]] = {
    WAITING: {YOUR_TURN: POWER_UP, TURN_OVERRIDDEN: POWER_UP, LEAVE_OUT: LEFT_OUT, ON_UNASKED: LANDED},
    POWER_UP: {PICTURE_IS_CLEAR: PICTURE_CLEAR, STAND_DOWN: LANDED, IS_DOWN: DOWN},
    PICTURE_CLEAR: {RELEASE: FLYING, NOT_CLEAR: POWER_UP, STAND_DOWN: LANDED, IS_DOWN: DOWN},
    FLYING: {LAND: LANDING, HAS_LANDED: LANDED, IS_DOWN: DOWN},
    LANDING: {HAS_LANDED: LANDED, FLIES_ON: FLYING, IS_DOWN: DOWN},
    LANDED: {IS_OFF: OFF, STILL_UP: LANDING, IS_DOWN: DOWN},
    OFF: {NOT_OFF: LANDED, STILL_UP: LANDING, BACK_IN_LINE: WAITING},
    DOWN: {FOUND: OFF, STILL_UP: LANDING},
    LEFT_OUT: {BACK_IN_LINE: WAITING, ON_UNASKED: LANDED},
}
"""By stage, which event leads a pilot where. Whoever may be on goes through LANDED, never straight to OFF."""

CALL_MOVES: Mapping[str, Mapping[str, str]] = {
    POWERING_UP: {RELEASE: FLYING, STOP: LANDING},
    FLYING: {LAND: LANDING, STOP: LANDING},
    LANDING: {END: OVER, FLY_ON: FLYING},
    OVER: {REOPEN: LANDING},
}
"""By stage, which event leads a call where."""

PILOT_EVENTS = tuple(dict.fromkeys(event for moves in PILOT_MOVES.values() for event in moves))
CALL_EVENTS = tuple(dict.fromkeys(event for moves in CALL_MOVES.values() for event in moves))

MAY_BE_ON = (POWER_UP, PICTURE_CLEAR, FLYING, LANDING, LANDED, DOWN)
KNOWN_ON = (PICTURE_CLEAR, FLYING, LANDING, LANDED, DOWN)
DONE = (OFF, DOWN, LEFT_OUT)
"""The call need not wait for these."""

STAND_DOWN_BY: Mapping[str, str] = {
    WAITING: LEAVE_OUT,
    POWER_UP: STAND_DOWN,
    PICTURE_CLEAR: STAND_DOWN,
    FLYING: LAND,
}
"""What calls a pilot off the line for good, by stage; nothing for whoever is on the way out already."""

_IS: Mapping[str, str] = {
    WAITING: marked("waits for its turn"),
    POWER_UP: marked("is powering up"),
    PICTURE_CLEAR: marked("is on with a clear picture"),
    FLYING: marked("is flying"),
    LANDING: marked("is called to land"),
    LANDED: marked("has to disarm and power off"),
    OFF: marked("is off"),
    DOWN: marked("is down, still on"),
    LEFT_OUT: marked("is left out"),
}
_ONLY: Mapping[str, str] = {
    YOUR_TURN: marked("the turn goes to a pilot who waits for it"),
    TURN_OVERRIDDEN: marked("only a pilot who waits for the turn gets it by the director's word"),
    PICTURE_IS_CLEAR: marked("a picture is confirmed while its pilot powers up"),
    NOT_CLEAR: marked("only a clear picture that was not released yet can be taken back"),
    RELEASE: marked("only a pilot with a clear picture is released"),
    LAND: marked("only a pilot who flies is called to land"),
    FLIES_ON: marked("only a pilot who is called to land can fly on"),
    HAS_LANDED: marked("only a pilot who flies or is called to land has landed"),
    STILL_UP: marked("only a pilot who was noted as landed, off or down can be in the air still"),
    IS_OFF: marked("a transmitter is noted as off after landing or standing down"),
    NOT_OFF: marked("only a transmitter that was noted as off can be on after all"),
    STAND_DOWN: marked(
        "only a pilot who powers up or has a clear picture stands down; in the air it is to land"
    ),
    LEAVE_OUT: marked("only a pilot who waits is left out; whoever may be on stands down or lands"),
    BACK_IN_LINE: marked("only a pilot who is off or left out comes back in line"),
    IS_DOWN: marked("only a transmitter that may be on can be down, still on"),
    FOUND: marked("only a transmitter that is down is found"),
    ON_UNASKED: marked("only a pilot who waits for its turn or is left out can be on unasked"),
}
CALL_IS: Mapping[str, str] = {
    POWERING_UP: marked("is powering up"),
    FLYING: marked("is flying"),
    LANDING: marked("is landing"),
    OVER: marked("is over"),
}
_CALL_ONLY: Mapping[str, str] = {
    RELEASE: marked("a heat is released once, after it powered up"),
    STOP: marked("a heat is stopped while it powers up or flies"),
    LAND: marked("a heat is called to land while it flies"),
    FLY_ON: marked("only a heat that is called to land can fly on"),
    END: marked("a heat ends after it landed"),
    REOPEN: marked("only the end of a heat can be undone"),
}


@dataclass(frozen=True)
class Line:
    """What holds at the flight line when something is to happen.

    call              stage of the call
    everybody_land    EVERYBODY LAND is on
    walkers           people walk on the field
    who_powers_up     callsign of the one whose turn it is; empty while it is nobody's
    was_released      the heat was released at some time
    unasked           callsigns of who is on outside the call, unasked, and spoils a picture; empty for nobody
    """

    call: str
    everybody_land: bool = False
    walkers: bool = False
    who_powers_up: str = ""
    was_released: bool = False
    unasked: str = ""


def pilot_after(stage: str, event: str, callsign: str) -> str:
    """The stage that follows. Raises RefusedError for what cannot happen to a pilot at this stage."""
    after = PILOT_MOVES[stage].get(event)
    if after is None:
        raise RefusedError(_refused(callsign, _IS[stage], _ONLY[event]))
    return after


def call_after(stage: str, event: str, named: str) -> str:
    """The stage that follows; `named` begins the sentence, "Heat 4". Raises RefusedError."""
    after = CALL_MOVES[stage].get(event)
    if after is None:
        raise RefusedError(_refused(named, CALL_IS[stage], _CALL_ONLY[event]))
    return after


def _refused(who: str, is_now: str, rule: str) -> str:
    return _("%(who)s %(is_now)s: %(rule)s.", who=who, is_now=_(is_now), rule=_(rule))


ALARM_FIRST = marked("EVERYBODY LAND is on: the director lifts it first.")
WALKERS_FIRST = marked("Walkers are on the field: wait until the director says that it is clear.")

_TURNS = (YOUR_TURN, TURN_OVERRIDDEN)
_TAKES_OFF = (*_TURNS, RELEASE, FLIES_ON, FLY_ON)
_WHILE_POWERING_UP = (*_TURNS, NOT_CLEAR, BACK_IN_LINE)


def why_not(event: str, line: Line) -> str:
    """Why this must not happen now whatever the pilot's own stage, as a sentence; empty: nothing is against it."""
    if line.everybody_land and event in (*_TAKES_OFF, PICTURE_IS_CLEAR, NOT_CLEAR, BACK_IN_LINE):
        return _(ALARM_FIRST)
    if line.walkers and event in _TAKES_OFF:
        return _(WALKERS_FIRST)
    if line.call == OVER and event in PILOT_EVENTS and event != FOUND:
        return _("This heat is over. Undo its end first.")
    if event in _WHILE_POWERING_UP and line.call != POWERING_UP:
        return _("This heat does not power up any more: the pilot flies with the next call.")
    if event in _TURNS and line.who_powers_up:
        who = line.who_powers_up
        return _(
            "%(who)s powers up now, one at a time: confirm that picture, or let %(who)s stand down.", who=who
        )
    if event == YOUR_TURN and line.unasked:
        return _("%(unasked)s on, unasked: the next one powers up once that is off.", unasked=line.unasked)
    if event == TURN_OVERRIDDEN and not line.unasked:
        return _("Nobody on unasked holds the turn up: give it without words.")
    if event == FLIES_ON and line.call != FLYING:
        return _("The whole heat is called to land: let the heat fly on.")
    if event == FLY_ON and not line.was_released:
        return _("This heat was never released: end it and call it again.")
    return ""
