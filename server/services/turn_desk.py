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
from server.wording import gettext as _

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
            _(
                "%(callsign)s has no place and is not in the queue: type the callsign alone to ask.",
                callsign=read.pilot.callsign,
            )
        )
    turns.act(session, day, turn, turn.seen, read.act, who, at)
    return turn


def _read(session: Session, day: FieldDay, line: str) -> _Read:
    assert day.id is not None
    text = tidy(line)
    if not text:
        raise _fault(_("Type a callsign: it asks to fly for this pilot."))
    pilot = pilots.by_callsign_key(session, day.id, callsign_key(text))
    if pilot is not None:
        return _Read(pilot, None)
    name, word = text.rpartition(" ")[::2]
    pilot = pilots.by_callsign_key(session, day.id, callsign_key(name)) if name else None
    if pilot is None:
        here = pilots.of_day(session, day.id, [CHECKED_IN])
        raise _fault(_nobody_called(name or text, here))
    if word.casefold() not in WORDS:
        raise _fault(
            _(
                "%(word)s is no word for a turn: use %(words)s, or the callsign alone.",
                word=shown(word),
                words=", ".join(WORDS),
            )
        )
    return _Read(pilot, WORDS[word.casefold()])


def _nobody_called(name: str, here: list[Pilot]) -> str:
    """With whoever begins the same, so that a slip of the finger is seen."""
    first = callsign_key(name)[:1]
    close = [pilot.callsign for pilot in here if pilot.callsign_key[:1] == first][:3]
    if not close:
        return _("Nobody called %(name)s is on the roster: check the pilot in first.", name=shown(name))
    return _(
        "Nobody called %(name)s is on the roster. With the same first letter: %(callsigns)s.",
        name=shown(name),
        callsigns=", ".join(close),
    )


def _fault(words: str) -> InputError:
    return InputError({"line": words})
