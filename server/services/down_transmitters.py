"""Down, still on: a transmitter that crashed out of reach and keeps its channel until somebody finds it.

It counts as an interferer at the near distance in every heat ahead: nobody knows where it lies. Its pilot flies no
more with that aircraft; with another one, on another channel, all the same.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.allocator.rest import Down
from server.services import lineup
from server.services.errors import OvertakenError, RefusedError
from server.services.gear import label_at
from server.services.roles import acting
from server.storage import calls, logbook, pilots, published_plans
from server.storage import down_transmitters as stored
from server.storage.tables import DownTransmitter, FieldDay, Pilot
from server.wording import gettext as _


def still_on(session: Session, day: FieldDay) -> list[DownTransmitter]:
    """Those that nobody found yet, the longest lost first."""
    assert day.id is not None
    return stored.still_on(session, day.id)


def interferers(session: Session, day: FieldDay) -> tuple[Down, ...]:
    """The same as the planner hears them."""
    return tuple(
        Down(one.callsign, one.mhz, one.power_mw, one.antenna, one.antenna_gain_dbi)
        for one in still_on(session, day)
    )


def grounded(session: Session, day: FieldDay) -> set[int]:
    """Pilots, by id, whose aircraft of today is the one that is down."""
    flying = {pilot.id: pilot.flying_aircraft_id for pilot in pilots.of_day(session, day.id or 0)}
    return {
        one.pilot_id for one in still_on(session, day) if flying.get(one.pilot_id) in (None, one.aircraft_id)
    }


def report(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    at: datetime,
    carrier: tuple[int, float] | None = None,
    who: str | None = None,
) -> DownTransmitter:
    """Note that a pilot's transmitter is down and still on.

    carrier  its MHz and mW; None: what it is called with now, else the channel it flew on last

    Raises RefusedError where it is noted already, or the pilot has no channel that it could be on.
    """
    assert day.id is not None
    assert pilot.id is not None
    if pilot.id in grounded(session, day):
        raise RefusedError(
            _(
                "%(callsign)s is noted as down, still on already. Press Found once it is.",
                callsign=pilot.callsign,
            )
        )
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    carrier = carrier or _called_with(session, day, pilot.id) or _last_flown(session, day, pilot.id)
    mhz = carrier[0] if carrier else pilot.provisional_mhz
    if flying is None or mhz is None:
        raise RefusedError(
            _(
                "%(callsign)s has no channel yet, so nothing can be on it. Look at check-in.",
                callsign=pilot.callsign,
            )
        )
    planned = lineup.planned_pilot(day, pilot, flying, {}, {})
    down = stored.add(
        session,
        DownTransmitter(
            field_day_id=day.id,
            pilot_id=pilot.id,
            aircraft_id=flying.id,
            callsign=pilot.callsign,
            mhz=mhz,
            power_mw=carrier[1] if carrier else min(planned.power_steps_mw),
            antenna=planned.antenna,
            antenna_gain_dbi=planned.gain_dbi,
            since=at,
        ),
    )
    channel = _channel(planned.labels, mhz)
    text = _(
        "%(callsign)s is down, still on: %(channel)s. Others stay off it until it is found.",
        callsign=pilot.callsign,
        channel=channel,
    )
    facts = {"down_id": down.id, "pilot_id": pilot.id, "mhz": mhz, "power_mw": down.power_mw}
    logbook.append(session, day.id, who or acting(session), "down, still on", text, facts, at)
    return down


def found(session: Session, day: FieldDay, down_id: int, at: datetime, who: str | None = None) -> str:
    """Note that a transmitter was found and is off; returns the sentence. Raises OvertakenError."""
    down = next((one for one in still_on(session, day) if one.id == down_id), None)
    if down is None:
        raise OvertakenError(_("This transmitter is not on the list any more: somebody noted it as found."))
    down.found_at = at
    session.add(down)
    session.flush()
    text = _(
        "%(callsign)s's transmitter is found and off: %(mhz)s MHz is clear again.",
        callsign=down.callsign,
        mhz=down.mhz,
    )
    logbook.append(session, day.id, who or acting(session), "down found", text, {"down_id": down.id}, at)
    return text


def _called_with(session: Session, day: FieldDay, pilot_id: int) -> tuple[int, float] | None:
    """MHz and mW in the live call."""
    call = calls.live(session, day.id or 0)
    own = (
        [slot for slot in calls.slots_of(session, call.id or 0) if slot.pilot_id == pilot_id] if call else []
    )
    return (own[0].mhz, own[0].power_mw) if own else None


def _last_flown(session: Session, day: FieldDay, pilot_id: int) -> tuple[int, float] | None:
    """MHz and mW in the last heat flown, else in the next one."""
    plan = published_plans.latest(session, day.id or 0)
    heats = published_plans.facts(plan)["heats"] if plan else []
    flown, ahead = heats[: day.flown_heats], heats[day.flown_heats :]
    own = [
        slot for heat in [*reversed(flown), *ahead] for slot in heat["slots"] if slot["pilot_id"] == pilot_id
    ]
    return (own[0]["mhz"], own[0]["power_mw"]) if own else None


def _channel(labels: Mapping[int, str], mhz: int) -> str:
    label = label_at(mhz, labels)
    return f"{label} {mhz}" if label else f"{mhz} MHz"
