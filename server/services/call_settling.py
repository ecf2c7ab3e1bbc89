"""What follows by itself at the flight line, in the transaction of whatever happened: who left the day comes off
the line, who was found is off, the turn to power up goes to the next in the order, who waits in the pits is
answered.
"""

from datetime import datetime

from sqlmodel import Session

from server.services import clearances, down_transmitters, flight_states, pit_air
from server.services.flight_line import line_of, log
from server.services.flight_states import Line, pilot_after, why_not
from server.services.turn_words import BY_ITSELF
from server.storage import calls, pilots
from server.storage.tables import (
    CHECKED_IN,
    DOWN,
    LANDED,
    POWER_UP,
    POWERING_UP,
    WAITING,
    Call,
    CallSlot,
    FieldDay,
)
from server.wording import gettext as _


def settle(session: Session, day: FieldDay, at: datetime) -> None:
    """Bring the live call and the pits to rest. The same stages and roster give the same result every time."""
    assert day.id is not None
    call = calls.live(session, day.id)
    if call is not None and call.id is not None:
        slots = calls.slots_of(session, call.id)
        _stand_down_who_left(session, day, slots, at)
        _follow_what_is_down(session, day, slots, at)
        _next_turn(session, day, call, slots, at)
    clearances.settle(session, day, at)


def line_state(session: Session, day: FieldDay, call: Call, slots: list[CallSlot]) -> Line:
    """What holds for everybody of the call."""
    line = line_of(session, day)
    powering_up = next((slot.callsign for slot in slots if slot.stage == POWER_UP), "")
    return Line(
        call.stage,
        line.everybody_land_at is not None,
        line.walkers_since is not None,
        powering_up,
        call.released_at is not None,
        pit_air.unasked_against(session, day),
    )


def move(
    session: Session, day: FieldDay, slot: CallSlot, event: str, who: str, text: str, at: datetime
) -> None:
    """One pilot to the stage that the event leads to, with its row in the logbook. Raises RefusedError."""
    before, slot.stage = slot.stage, pilot_after(slot.stage, event, slot.callsign)
    slot.changed_at = at
    if event == flight_states.PICTURE_IS_CLEAR:
        slot.picture_at = at
    if event == flight_states.RELEASE:
        slot.released_at = at
    if event in (flight_states.NOT_CLEAR, flight_states.BACK_IN_LINE):
        slot.picture_at = None
    log(session, day, who, event, text, facts_of(slot, before), at)


def take_back_turns(session: Session, day: FieldDay, call: Call, but: CallSlot, at: datetime) -> None:
    """Whoever else of the call has the turn to power up stands down: `but` has it again, and one has it at a time.

    It may be on already, so it is told to power off, and comes back in line once it is off.
    """
    for slot in calls.slots_of(session, call.id or 0):
        if slot.id != but.id and slot.stage == POWER_UP:
            text = _(
                "%(callsign)s stands down, since %(but)s powers up again: disarm, power off, then back in line.",
                callsign=slot.callsign,
                but=but.callsign,
            )
            move(session, day, slot, flight_states.STAND_DOWN, BY_ITSELF, text, at)


def facts_of(slot: CallSlot, before: str) -> dict[str, object]:
    """What the logbook keeps of a pilot's move."""
    return {
        "call_id": slot.call_id,
        "slot_id": slot.id,
        "pilot_id": slot.pilot_id,
        "heat": slot.heat,
        "mhz": slot.mhz,
        "before": before,
        "stage": slot.stage,
    }


def _stand_down_who_left(session: Session, day: FieldDay, slots: list[CallSlot], at: datetime) -> None:
    states = {pilot.id: pilot.state for pilot in pilots.of_day(session, day.id or 0)}
    for slot in slots:
        event = flight_states.STAND_DOWN_BY.get(slot.stage)
        if event is not None and states.get(slot.pilot_id) != CHECKED_IN:
            text = _("%(callsign)s left the day and comes off the line.", callsign=slot.callsign)
            move(session, day, slot, event, BY_ITSELF, text, at)


def _follow_what_is_down(session: Session, day: FieldDay, slots: list[CallSlot], at: datetime) -> None:
    """What was noted as down or found elsewhere than at the flight line."""
    down = {one.pilot_id: one for one in down_transmitters.still_on(session, day)}
    grounded = down_transmitters.grounded(session, day)
    for slot in slots:
        if slot.stage == DOWN and slot.pilot_id not in down:
            text = _("%(callsign)s's transmitter is found and off.", callsign=slot.callsign)
            move(session, day, slot, flight_states.FOUND, BY_ITSELF, text, at)
        elif slot.pilot_id in grounded and flight_states.IS_DOWN in flight_states.PILOT_MOVES[slot.stage]:
            text = _("%(callsign)s is down, still on.", callsign=slot.callsign)
            move(session, day, slot, flight_states.IS_DOWN, BY_ITSELF, text, at)
        elif slot.pilot_id in grounded and slot.stage == WAITING:
            text = _("%(callsign)s is down, still on, and left out.", callsign=slot.callsign)
            move(session, day, slot, flight_states.LEAVE_OUT, BY_ITSELF, text, at)


def _next_turn(session: Session, day: FieldDay, call: Call, slots: list[CallSlot], at: datetime) -> None:
    if call.stage != POWERING_UP or any(slot.stage == LANDED for slot in slots):
        return  # who stood down may be on, perhaps on a wrong channel: the next one powers up once that is off
    waiting = next((slot for slot in slots if slot.stage == WAITING), None)
    if waiting is None or why_not(flight_states.YOUR_TURN, line_state(session, day, call, slots)):
        return
    named = f"{waiting.channel or ''} {waiting.mhz}".strip()
    text = _("%(callsign)s may power up on %(named)s.", callsign=waiting.callsign, named=named)
    move(session, day, waiting, flight_states.YOUR_TURN, BY_ITSELF, text, at)
