"""The desk's line at open flying: a callsign asks to fly, a word behind it does something to the pilot's turn."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.services import turns
from server.services.callsigns import callsign_key, tidy
from server.services.errors import InputError
from server.services.faults import shown
from server.storage import pilots
from server.storage import turns as stored
from server.storage.tables import CHECKED_IN, FieldDay, Pilot, Turn

WORDS = {
    "set": "set",
    "up": "up",
    "clear": "clear",
    "off": "off",
    "land": "land",
    "on": "fly-on",
    "down": "down",
    "seat": "seat",
}
"""What may stand behind a callsign, and the act that it names."""


@dataclass(frozen=True)
class _Read:
    pilot: Pilot
    act: str | None


def do_line(session: Session, day: FieldDay, line: str, who: str, at: datetime) -> Turn:
    """Do what a line says: "Wren" asks to fly, "Wren off" landed and powered off.

    Raises InputError with a fault of `line`, RefusedError where it is not the time for it.
    """
    read = _read(session, day, line)
    assert read.pilot.id is not None
    if read.act is None:
        return turns.ask(session, day, read.pilot, who, at)
    turn = stored.live_of(session, read.pilot.id)
    if turn is None:
        raise _fault(
            f"{read.pilot.callsign} has no place and is not in the queue: type the callsign alone to ask."
        )
    turns.act(session, day, turn, turn.seen, read.act, who, at)
    return turn


def _read(session: Session, day: FieldDay, line: str) -> _Read:
    assert day.id is not None
    text = tidy(line)
    if not text:
        raise _fault("Type a callsign: it asks to fly for this pilot.")
    pilot = pilots.by_callsign_key(session, day.id, callsign_key(text))
    if pilot is not None:
        return _Read(pilot, None)
    name, _, word = text.rpartition(" ")
    pilot = pilots.by_callsign_key(session, day.id, callsign_key(name)) if name else None
    if pilot is None:
        here = pilots.of_day(session, day.id, [CHECKED_IN])
        raise _fault(f"Nobody called {shown(name or text)} is on the roster{_like(name or text, here)}.")
    if word.casefold() not in WORDS:
        raise _fault(f"{shown(word)} is no word for a turn: use {', '.join(WORDS)}, or the callsign alone.")
    return _Read(pilot, WORDS[word.casefold()])


def _like(name: str, here: list[Pilot]) -> str:
    """Whoever begins the same, so that a slip of the finger is seen."""
    first = callsign_key(name)[:1]
    close = [pilot.callsign for pilot in here if pilot.callsign_key[:1] == first][:3]
    return f". With the same first letter: {', '.join(close)}" if close else ": check the pilot in first"


def _fault(words: str) -> InputError:
    return InputError({"line": words})
