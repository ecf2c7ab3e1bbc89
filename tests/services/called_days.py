"""A published day whose heats a test calls, with the presses of director and pilots in short."""

from typing import Any

from sqlmodel import Session

from server.services import call_slots, calls, slots
from server.services.day_now import DayNow
from server.services.slots import MySlot
from server.storage import calls as stored
from server.storage import pilots
from server.storage.tables import Call, CallSlot, FieldDay
from tests.factories import NOW


def call_heat(session: Session, day: FieldDay, *heats: int, **how: Any) -> Call:
    return calls.call(session, day, heats or (1,), calls.seen_of(session, day), "director", NOW, **how)


def step(session: Session, day: FieldDay, event: str, **how: Any) -> Call:
    """One step of the whole heat."""
    return calls.act(session, day, event, calls.seen_of(session, day), "director", NOW, **how)


def press(session: Session, day: FieldDay, callsign: str, event: str) -> CallSlot:
    """One step of one pilot of the latest call."""
    slot = place(session, day, callsign)
    assert slot.id is not None
    call_slots.act(session, day, slot.id, slot.seen, event, "director", NOW)
    return slot


def place(session: Session, day: FieldDay, callsign: str) -> CallSlot:
    last = stored.last(session, day.id or 0)
    assert last is not None
    return next(one for one in stored.slots_of(session, last.id or 0) if one.callsign == callsign)


def stages(session: Session, day: FieldDay) -> dict[str, str]:
    """By callsign, in the order of powering up."""
    last = stored.last(session, day.id or 0)
    assert last is not None
    return {one.callsign: one.stage for one in stored.slots_of(session, last.id or 0)}


def page(session: Session, day: FieldDay, callsign: str) -> MySlot:
    session.flush()
    pilot = pilots.by_callsign_key(session, day.id or 0, callsign.casefold())
    assert pilot is not None
    return slots.slot_by_token(session, pilot.link_token)


def words(session: Session, day: FieldDay) -> dict[str, str]:
    session.flush()
    return {one.callsign: one.word for one in slots.slots_of_day(session, DayNow(session, day))}


def released(session: Session, day: FieldDay, *heats: int) -> Call:
    """Called, everybody's picture clear, and released."""
    call_heat(session, day, *heats)
    for callsign in stages(session, day):
        press(session, day, callsign, "picture is clear")
    return step(session, day, "release")


def flown(session: Session, day: FieldDay, *heats: int) -> Call:
    """The whole heat, from the call to its end."""
    released(session, day, *heats)
    step(session, day, "land")
    step(session, day, "all landed")
    return step(session, day, "end")
