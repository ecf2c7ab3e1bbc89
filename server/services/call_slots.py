"""One pilot in a call: the turn, a clear picture, landed, off, down, left out, and what takes each back.

The director does it, or the pilot from the own phone (`PILOTS_ACTS`).
"""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session

from server.services import call_settling, calls, down_transmitters, flight_states, unasked
from server.services.errors import NotFoundError, OvertakenError, RefusedError
from server.services.flight_line import check_open, line_of, line_to_change, remember, why_overridden
from server.services.flight_states import pilot_after, why_not
from server.services.joins import PILOT
from server.services.pit_air import may_be_on_outside
from server.storage import calls as stored
from server.storage import pilots
from server.storage.tables import DOWN, OFF, Call, CallSlot, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

PILOTS_ACTS = (flight_states.PICTURE_IS_CLEAR, flight_states.HAS_LANDED, flight_states.IS_OFF)
"""What a pilot may do alone, from the own phone."""

ACTS = tuple(event for event in flight_states.PILOT_EVENTS if event != flight_states.RELEASE)
"""What can be done to one pilot; a heat is released as one."""

_TEXTS: Mapping[str, str] = {
    flight_states.YOUR_TURN: marked("%(callsign)s may power up: the director gave the turn."),
    flight_states.TURN_OVERRIDDEN: marked("%(callsign)s may power up by the director's word"),
    flight_states.PICTURE_IS_CLEAR: marked("%(callsign)s: picture is clear."),
    flight_states.NOT_CLEAR: marked("%(callsign)s: the picture is not clear after all."),
    flight_states.LAND: marked("%(callsign)s is called to land."),
    flight_states.FLIES_ON: marked("%(callsign)s flies on after all."),
    flight_states.HAS_LANDED: marked("%(callsign)s has landed."),
    flight_states.STILL_UP: marked("%(callsign)s is in the air still, and is to land."),
    flight_states.IS_OFF: marked("%(callsign)s is off."),
    flight_states.NOT_OFF: marked("%(callsign)s is not off yet."),
    flight_states.STAND_DOWN: marked("%(callsign)s stands down: disarm, then power off."),
    flight_states.LEAVE_OUT: marked("%(callsign)s is left out."),
    flight_states.BACK_IN_LINE: marked("%(callsign)s is back in line."),
    flight_states.IS_DOWN: marked("%(callsign)s is down, still on."),
    flight_states.FOUND: marked("%(callsign)s's transmitter is found and off."),
    flight_states.ON_UNASKED: marked("%(callsign)s is on, unasked: disarm, then power off."),
}

_TAKEN_BACK_BY: Mapping[str, str] = {
    flight_states.YOUR_TURN: flight_states.STAND_DOWN,
    flight_states.TURN_OVERRIDDEN: flight_states.STAND_DOWN,
    flight_states.PICTURE_IS_CLEAR: flight_states.NOT_CLEAR,
    flight_states.LAND: flight_states.FLIES_ON,
    flight_states.HAS_LANDED: flight_states.STILL_UP,
    flight_states.IS_OFF: flight_states.NOT_OFF,
    flight_states.LEAVE_OUT: flight_states.BACK_IN_LINE,
    flight_states.BACK_IN_LINE: flight_states.LEAVE_OUT,
}
"""What undoes an event. The others have no undo, since nobody who may be on is told to stay off by one."""


def slot_of(session: Session, day: FieldDay, slot_id: int) -> tuple[Call, CallSlot]:
    """The place with its call. Raises NotFoundError, also for one of another day."""
    found = stored.slot_by_id(session, day.id or 0, slot_id)
    if found is None:
        raise NotFoundError(_("There is no such place in a call of this day."))
    return found


def act_of_pilot(
    session: Session, day: FieldDay, pilot: Pilot, slot_id: int, seen: str, event: str, at: datetime
) -> None:
    """What a pilot does from the own phone; raises as `act` does."""
    slot = slot_of(session, day, slot_id)[1]
    if slot.pilot_id != pilot.id or event not in PILOTS_ACTS:
        raise NotFoundError(_("There is no such place of this pilot in a call."))
    act(session, day, slot_id, seen, event, PILOT, at)


def act(
    session: Session,
    day: FieldDay,
    slot_id: int,
    seen: str,
    event: str,
    who: str,
    at: datetime,
    *,
    words: str = "",
) -> None:
    """Do one of ACTS to a pilot in a call, then what follows from it.

    seen   `CallSlot.seen` as the page showed it
    words  why the turn is given although somebody is on unasked; they go to the logbook

    Raises OvertakenError where the pilot's stage changed since, RefusedError where it is not the time for it, and
    InputError for a turn that is overridden without words or with too many.
    """
    if event not in ACTS:
        raise NotFoundError(_("There is nothing of this name to be done to a pilot in a call."))
    check_open(day)
    call, slot = slot_of(session, day, slot_id)
    if slot.seen != seen:
        raise OvertakenError(
            _(
                "%(callsign)s's place changed since this page was loaded. Look at it and press again.",
                callsign=slot.callsign,
            )
        )
    _do(session, day, call, slot, event, who, at, words)
    undo = _TAKEN_BACK_BY.get(event)
    words = _(_TEXTS[undo], callsign=slot.callsign) if undo else ""
    remember(session, day, {"words": words, "slots": [slot.id], "event": undo} if undo else None)
    call_settling.settle(session, day, at)


def found_on(session: Session, day: FieldDay, pilot: Pilot, place: str, who: str, at: datetime) -> None:
    """Note that a pilot is on, unasked: by its place in the live call, else outside it as `unasked.note` does.

    Raises as `act` and `unasked.note` do.
    """
    call = stored.live(session, day.id or 0)
    slots = stored.slots_of(session, call.id or 0) if call else []
    slot = next((one for one in slots if one.pilot_id == pilot.id), None)
    if slot is None:
        unasked.note(session, day, pilot, place, who, at)
        return
    event = flight_states.NOT_OFF if slot.stage == OFF else flight_states.ON_UNASKED
    act(session, day, slot.id or 0, slot.seen, event, who, at)


def undo_seen(session: Session, day: FieldDay) -> tuple[str, str] | None:
    """What the undo of the last step would do, in words, and what its form repeats; None without one."""
    line = line_of(session, day)
    if not line.last_step_json:
        return None
    return json.loads(line.last_step_json)["words"], str(line.version)


def undo(session: Session, day: FieldDay, seen: str, who: str, at: datetime) -> None:
    """Take the last step back, where that is safe. Raises OvertakenError or RefusedError."""
    check_open(day)
    line = line_to_change(session, day)
    if not line.last_step_json or str(line.version) != seen:
        raise OvertakenError(_("Something else happened since. Look at the page as it is now."))
    step = json.loads(line.last_step_json)
    if step.get("call"):
        last = stored.last(session, day.id or 0)
        assert last is not None
        calls.act(session, day, step["call"], last.seen, who, at, counts=False)
        return
    if step.get("clearance"):
        unasked.take_back(session, day, step, who, at)
    for slot_id in step.get("slots", ()):
        call, slot = slot_of(session, day, slot_id)
        _do(session, day, call, slot, step["event"], who, at)
    remember(session, day, None)
    call_settling.settle(session, day, at)


def _do(
    session: Session,
    day: FieldDay,
    call: Call,
    slot: CallSlot,
    event: str,
    who: str,
    at: datetime,
    words: str = "",
) -> None:
    assert call.id is not None
    pilot_after(slot.stage, event, slot.callsign)
    line = call_settling.line_state(session, day, call, stored.slots_of(session, call.id))
    refused = why_not(event, line)
    if refused:
        raise RefusedError(refused)
    text = _(_TEXTS[event], callsign=slot.callsign)
    if event == flight_states.TURN_OVERRIDDEN:
        text = _(
            "%(text)s, though %(unasked)s on, unasked: %(why_overridden)s",
            text=text,
            unasked=line.unasked,
            why_overridden=why_overridden(words),
        )
    if event == flight_states.BACK_IN_LINE and may_be_on_outside(session, [slot.pilot_id]):
        raise RefusedError(
            _("%(callsign)s may be on outside a call: note it as off there first.", callsign=slot.callsign)
        )
    if event == flight_states.NOT_CLEAR:
        call_settling.take_back_turns(session, day, call, slot, at)
    _note_what_is_down(session, day, slot, event, who, at)
    call_settling.move(session, day, slot, event, who, text, at)


def _note_what_is_down(
    session: Session, day: FieldDay, slot: CallSlot, event: str, who: str, at: datetime
) -> None:
    """The transmitter that is lost, and heard in every heat until it is found, is a row of its own."""
    assert day.id is not None
    if event == flight_states.IS_DOWN:
        pilot = pilots.by_id(session, day.id, slot.pilot_id)
        assert pilot is not None
        if slot.pilot_id not in down_transmitters.grounded(session, day):
            down_transmitters.report(session, day, pilot, at, (slot.mhz, slot.power_mw), who)
    elif slot.stage == DOWN:
        lost = _still_on(session, day, slot.pilot_id)
        for one in lost:
            assert one is not None
            down_transmitters.found(session, day, one, at, who)


def _still_on(session: Session, day: FieldDay, pilot_id: int) -> Sequence[int]:
    return [one.id for one in down_transmitters.still_on(session, day) if one.pilot_id == pilot_id and one.id]
