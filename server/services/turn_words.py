"""What people are told about a turn: the word for the transmitter, why they wait, what to do."""

from server.allocator.open_flying import Wait, Why
from server.services.transmitter_words import (
    DISARM_THEN_POWER_OFF,
    FLY,
    LAND,
    POWER_UP,
    STAY_OFF,
    Facts,
    Word,
)
from server.storage import tables
from server.storage.tables import Turn

BY_ITSELF = "bandstand"
"""Who it was, for the logbook, where nobody pressed anything."""


def is_known_on(turn: Turn) -> bool:
    return turn.picture_at is not None


def facts_of(turn: Turn, is_open: bool, is_here: bool, in_doubt: bool) -> Facts:
    """What the word of a pilot with a turn hangs on, as far as open flying knows it.

    is_open   open flying is on; when it is closed, everybody lands
    is_here   the pilot is on the roster still
    in_doubt  the gear or the channel changed since the place was given
    """
    return Facts(
        turn=turn.stage,
        turn_was_on=is_known_on(turn),
        is_called_off=not (is_open and is_here),
        in_doubt=in_doubt,
    )


def waits_because(callsign: str, wait: Wait) -> str:
    """Why this pilot waits, as one sentence."""
    others = " and ".join(wait.callsigns)
    be, has = ("is", "was") if len(wait.callsigns) == 1 else ("are", "were")
    return {
        Why.NO_CHANNEL: f"No channel of {callsign}'s gear is in use today: tell the desk.",
        Why.FULL: "As many are up as may be. A place gets free when somebody lands.",
        Why.APART: f"{others} {be} up: {callsign}'s spotter, or not to fly beside {callsign}.",
        Why.NO_SPACE: f"Every channel of {callsign}'s gear is too close to one in use now.",
        Why.PICTURE: f"One more now would leave {others} a picture too bad to fly with.",
        Why.COMPANY: f"{others} came first: {callsign}'s spotter, or not to fly beside {callsign}.",
        Why.TURN: f"{others} came first and {has} passed over already: nobody more goes before.",
    }[wait.why]


def what_next(turn: Turn, word: Word, is_open: bool, in_doubt: bool, named: str, queue: str) -> str:
    """What the pilot does now, after the word, as one or two sentences.

    named   the channel as the pilot knows it; empty in the queue
    queue   where in the queue, as a sentence; empty with a place
    """
    if turn.stage == tables.WAITING:
        return (
            f"{queue} {turn.why}" if is_open else f"{queue} Open flying is closed; you keep this place in it."
        )
    if turn.stage == tables.DOWN:
        return "Others keep off your channel. Found and powered off? Press the button."
    if word == LAND:
        return "Fly home and land. Then disarm, power off, and press the button."
    if word == DISARM_THEN_POWER_OFF:
        return "You are called back. In the air? Fly home first. Off already? Press the button."
    if word == STAY_OFF and not in_doubt:
        return "You are called back. Is the transmitter on? Power off, then press the button."
    if in_doubt:
        return (
            "Your gear changed, or the channel went out of use, since you got this place. Tell the director."
        )
    if word == FLY:
        return "The place is yours until you land. Then disarm, power off, and press the button."
    if word == POWER_UP:
        return f"Power up on {named}. Clear picture, or a problem? Press its button."
    if turn.stage == tables.POWER_UP:
        return "Walkers are on the field: do not power up. On already? Leave the motors disarmed and wait."
    if turn.confirmed_at is None:
        return f"The place is yours. Set the transmitter to {named}, then press the button. Do not power yet."
    return turn.why or "Do not power yet."


def ordinal(number: int) -> str:
    """1 → "1st"."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"
