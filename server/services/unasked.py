"""A pilot is on, unasked: somebody who is not called, or not yet, is found to be transmitting.

It counts as on the air until somebody says that it is off; its pilot reads DISARM THEN POWER OFF.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import lineup
from server.services.channel_confirmation import channel_now, is_confirmed
from server.services.clearances import (
    FOUND_ON,
    NOT_OFF,
    NOT_ON,
    STILL_WAITS,
    after,
    callsign_of,
    check_pilot,
    clearance_of,
    write_down,
)
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.flight_line import check_open, remember
from server.services.turn_lineup import pit_power_mw
from server.storage import clearances as stored
from server.storage import pilots
from server.storage.tables import (
    CLEARANCE_PLACES,
    NOT_KNOWN,
    OFF,
    UNASKED,
    Clearance,
    FieldDay,
    Pilot,
)
from server.wording import gettext as _
from server.wording import marked

_TAKEN_BACK: Mapping[str, tuple[str, str]] = {
    NOT_ON: ("unasked taken back", marked("%(callsign)s was not on after all.")),
    STILL_WAITS: ("unasked taken back", marked("%(callsign)s was not on after all, and waits still.")),
    NOT_OFF: ("on unasked", marked("%(callsign)s is on still, unasked.")),
}


def note(session: Session, day: FieldDay, pilot: Pilot, place: str, who: str, at: datetime) -> None:
    """Note that a pilot of no called heat is on, unasked, in the pits or by the pilot line.

    It counts on its channel where that is confirmed, else on the worst that it can tune. Raises InputError for
    another place, and RefusedError for who is not here or may be on.
    """
    assert day.id is not None
    assert pilot.id is not None
    check_open(day)
    if place not in CLEARANCE_PLACES:
        raise InputError({"place": _("Choose where it is on: in the pits, or by the pilot line.")})
    check_pilot(session, day, pilot)
    known = stored.live_of(session, pilot.id)
    before = known.stage if known else None
    clearance = known or _new(session, day, pilot, at)
    clearance.stage = after(before, FOUND_ON, pilot.callsign) if before else UNASKED
    clearance.place, clearance.on_at = place, at
    session.flush()
    text = _("%(callsign)s is on, unasked.", callsign=pilot.callsign)
    write_down(session, day, clearance, who, "on unasked", text, at)
    undo = STILL_WAITS if before else NOT_ON
    words = _(_TAKEN_BACK[undo][1], callsign=pilot.callsign)
    remember(session, day, {"words": words, "clearance": clearance.id, "event": undo})


def take_back(session: Session, day: FieldDay, step: Mapping[str, Any], who: str, at: datetime) -> None:
    """Undo the last step, as `remember` kept it. Raises OvertakenError where the pilot asked anew since."""
    clearance = clearance_of(session, day, step["clearance"])
    event, callsign = step["event"], callsign_of(session, clearance)
    live = stored.live_of(session, clearance.pilot_id)
    if live is not None and live.id != clearance.id:
        raise OvertakenError(
            _("%(callsign)s asked to switch on since. Look at the page as it is now.", callsign=callsign)
        )
    clearance.stage = after(clearance.stage, event, callsign)
    clearance.off_at = at if clearance.stage == OFF else None
    action, text = _TAKEN_BACK[event]
    write_down(session, day, clearance, who, action, _(text, callsign=callsign), at)


def _new(session: Session, day: FieldDay, pilot: Pilot, at: datetime) -> Clearance:
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id or 0))
    if flying is None:
        raise RefusedError(
            _(
                "%(callsign)s has no aircraft on the roster: add one at the desk first.",
                callsign=pilot.callsign,
            )
        )
    clearance = Clearance(
        field_day_id=day.id or 0,
        pilot_id=pilot.id or 0,
        aircraft_id=flying.id,
        why=NOT_KNOWN,
        mhz=channel_now(session, day, pilot) if is_confirmed(session, pilot) else None,
        power_mw=pit_power_mw(flying),
        stage=UNASKED,
        asked_at=at,
    )
    return stored.add(session, clearance)
