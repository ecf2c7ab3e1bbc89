"""The air as the trouble desk sees it: who is on in the called heat or at open flying, who is on the ground."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session

from server.allocator.advice import Seat
from server.allocator.trouble_air import Air, Flier, OnGround
from server.services import channel_confirmation, down_transmitters
from server.services.call_lineup import next_heat, published_plan
from server.services.drafts import DraftContent
from server.services.plan_basis import PlanBasis, basis_of
from server.storage import calls, clearances, pilots, turns
from server.storage.tables import FLYING, LANDING, ON, PICTURE_CLEAR, POWER_UP, UNASKED, FieldDay

ALOFT = (FLYING, LANDING)
UP = (POWER_UP, PICTURE_CLEAR, *ALOFT)
"""Stages, in a call and at open flying, in which a transmitter is on as called: who powers up is on before its
first clear picture, and may never see one.
"""


@dataclass(frozen=True)
class AirNow:
    """One moment of a day.

    up       channel in MHz and power in mW of who is on, by pilot id
    call_id  of the live call; None at open flying
    air      the same for the allocator; its fliers in the order of `up`
    """

    up: Mapping[int, tuple[int, float]]
    names: Mapping[int, str]
    call_id: int | None
    air: Air


def air_now(session: Session, day: FieldDay) -> AirNow:
    """Who is in the air, and everybody around, with today's gear."""
    assert day.id is not None
    basis = basis_of(session, day, DraftContent())
    call = calls.live(session, day.id)
    slots = calls.slots_of(session, call.id or 0) if call else []
    up = {pilot_id: place for pilot_id, place in places_up(session, day).items() if pilot_id in basis.pilots}
    confirmed = channel_confirmation.confirmed_pilots(session, day)
    fliers = tuple(
        Flier(Seat(basis.pilots[pilot_id], mhz, power_mw), pilot_id in confirmed)
        for pilot_id, (mhz, power_mw) in up.items()
    )
    snapshot = published_plan(session, day)
    upcoming = next_heat(session, day, snapshot, slots) if snapshot else None
    ground = _ground(session, day, basis, up, upcoming[1] if upcoming else set())
    problem = replace(basis.problem, heats_given=None, one_heat=False)
    down = down_transmitters.interferers(session, day)
    names = {pilot_id: basis.pilots[pilot_id].callsign for pilot_id in up}
    return AirNow(up, names, call.id if call else None, Air(problem, fliers, ground, down))


def places_up(session: Session, day: FieldDay, stages: Collection[str] = UP) -> dict[int, tuple[int, float]]:
    """Channel in MHz and power in mW of everybody who is on as called, at one of these stages, by pilot id."""
    assert day.id is not None
    call = calls.live(session, day.id)
    slots = calls.slots_of(session, call.id or 0) if call else []
    up = {one.pilot_id: (one.mhz, one.power_mw) for one in slots if one.stage in stages}
    for turn in turns.live(session, day.id):
        if turn.stage in stages and turn.mhz is not None and turn.power_mw is not None:
            up.setdefault(turn.pilot_id, (turn.mhz, turn.power_mw))
    return up


def _ground(
    session: Session,
    day: FieldDay,
    basis: PlanBasis,
    up: Mapping[int, tuple[int, float]],
    upcoming: set[int],
) -> tuple[OnGround, ...]:
    assert day.id is not None
    aircraft = pilots.aircraft_of_day(session, day.id)
    rows = {pilot.id: pilot for pilot in pilots.of_day(session, day.id)}
    outside = clearances.live(session, day.id)
    on = {one.pilot_id: one for one in outside if one.stage in (ON, UNASKED)}
    found = []
    for pilot_id, pilot in basis.pilots.items():
        if pilot_id in up:
            continue
        flying_id = rows[pilot_id].flying_aircraft_id
        flying = next((one for one in aircraft.get(pilot_id, []) if one.id == flying_id), None)
        pit_mw = flying.pit_power_mw if flying else None
        power_mw = max(pilot.power_steps_mw) if pit_mw is None else pit_mw
        mhz = on[pilot_id].mhz if pilot_id in on else None
        found.append(
            OnGround(pilot, mhz or pilot.current_mhz, power_mw, pilot_id in upcoming, pilot_id in on)
        )
    return tuple(found)
