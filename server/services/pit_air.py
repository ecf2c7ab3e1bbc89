"""What a transmitter that is to be switched on outside a call would meet: who flies, who is on in the pits, what
is lost; and whether it is clear by computation.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.allocator.open_flying import Up
from server.allocator.problem import DayProblem
from server.allocator.problem import Pilot as PlannedPilot
from server.allocator.rest import Down
from server.allocator.switching_on import OnTheGround, spoilt_by, worst_channel
from server.services import down_transmitters, lineup
from server.services.call_lineup import Lineup
from server.services.call_steps import named
from server.services.flight_line import line_of
from server.services.flight_states import ALARM_FIRST, DONE, WALKERS_FIRST
from server.services.turn_lineup import TurnLineup, lineup_of_pilots
from server.storage import calls, clearances, pilots, turns
from server.storage.tables import (
    CLEARANCES_MAY_BE_ON,
    DOWN,
    FLYING,
    LANDING,
    ON,
    PILOT_LINE,
    POWER_UP,
    UNASKED,
    Call,
    Clearance,
    FieldDay,
)
from server.wording import gettext as _
from server.wording import listed, ngettext, time_of_day

TO_POWER_UP = timedelta(minutes=2)
TO_LAND = timedelta(minutes=1)
"""Taken for powering up one after the other, and for landing; common practice, no source."""


@dataclass(frozen=True)
class Air:
    """One moment of a day's air.

    flying   whoever is on or cleared to be in a call or at open flying, all taken as flying
    ground   whoever is on or cleared to be outside a call
    lost     down and still on
    """

    flying: tuple[Up, ...]
    ground: tuple[OnTheGround, ...]
    lost: tuple[Up, ...]
    problem: DayProblem


def is_in_call(session: Session, day: FieldDay, pilot_id: int) -> bool:
    """Whether the pilot is in the live call and not through with it."""
    call = calls.live(session, day.id or 0)
    if call is None:
        return False
    slots = calls.slots_of(session, call.id or 0)
    return any(slot.pilot_id == pilot_id and slot.stage not in DONE for slot in slots)


def why_wait(session: Session, day: FieldDay, clearance: Clearance) -> str:
    """Why this transmitter has to wait, and how long, as a sentence; empty where it is clear now."""
    line = line_of(session, day)
    if line.everybody_land_at is not None:
        return _(ALARM_FIRST)
    if line.walkers_since is not None:
        return _(WALKERS_FIRST)
    air = air_of(session, day, clearance)
    if not air.flying:
        return _why_wait_in_the_pits(clearance, air)
    if not line.may_clear_beside:
        return _until_it_is_over(session, day)
    return _by_computation(session, day, clearance, air)


def air_of(session: Session, day: FieldDay, but: Clearance | None = None) -> Air:
    """Everybody's transmitters now, this one left out.

    A pilot has one: a place in a call or at open flying says what it is on.
    """
    assert day.id is not None
    call = calls.live(session, day.id)
    slots = [slot for slot in calls.slots_of(session, call.id or 0) if slot.stage not in DONE] if call else []
    seated = [one for one in turns.live(session, day.id) if one.stage in (POWER_UP, FLYING, LANDING, DOWN)]
    placed = {*(one.pilot_id for one in slots), *(one.pilot_id for one in seated)}
    on = [one for one in clearances.live(session, day.id) if one.stage in CLEARANCES_MAY_BE_ON]
    on = [one for one in on if (but is None or one.id != but.id) and one.pilot_id not in placed]
    field = lineup_of_pilots(session, day, placed | {one.pilot_id for one in on})
    aloft = [Up(field.planned[slot.pilot_id], slot.mhz, slot.power_mw) for slot in slots]
    aloft += [field.up_of(turn) for turn in seated if turn.stage != DOWN]
    lost = [field.up_of(turn) for turn in seated if turn.stage == DOWN]
    lost += [_lost(one) for one in down_transmitters.interferers(session, day)]
    ground = tuple(_on_the_ground(session, one, field, aloft) for one in on)
    return Air(tuple(aloft), ground, tuple(lost), field.problem)


def on_the_ground(session: Session, day: FieldDay, flying: Sequence[Up], but: int) -> tuple[OnTheGround, ...]:
    """Whoever is on or cleared to be outside a call, one pilot left out by id; who is on no channel that is known
    counts on the worst that it can tune, for those who fly. Those who fly are on by that alone.
    """
    on = [one for one in clearances.live(session, day.id or 0) if one.stage in CLEARANCES_MAY_BE_ON]
    on = [one for one in on if one.pilot_id != but]
    if not on:
        return ()
    field, aloft = (
        lineup_of_pilots(session, day, {one.pilot_id for one in on}),
        {up.pilot.callsign for up in flying},
    )
    on = [one for one in on if field.planned[one.pilot_id].callsign not in aloft]
    return tuple(_on_the_ground(session, one, field, flying) for one in on)


def against_call(session: Session, day: FieldDay, lineup: Lineup) -> tuple[str, ...]:
    """What is on outside a call, and stands against calling these pilots, as sentences."""
    assert day.id is not None
    on = [one for one in clearances.live(session, day.id) if one.stage in CLEARANCES_MAY_BE_ON]
    if not on:
        return ()
    called = {seat.pilot_id for seat in lineup.flying}
    if line_of(session, day).may_clear_beside and not called & {one.pilot_id for one in on}:
        air = air_of(session, day)
        field = lineup_of_pilots(session, day, called)
        flying = [Up(field.planned[seat.pilot_id], seat.mhz, seat.power_mw) for seat in lineup.flying]
        spoilt = spoilt_by(air.ground, flying, air.problem, air.lost)
        if not spoilt:
            return ()
    return _wait_for(session, day, on)


def against_flying_on(session: Session, day: FieldDay) -> tuple[str, ...]:
    """What was switched on outside a call since a heat was taken for over, and stands against its flying on, as
    sentences; nothing of what the director's word let on.
    """
    on = [one for one in clearances.live(session, day.id or 0) if one.stage in CLEARANCES_MAY_BE_ON]
    on = [one for one in on if not one.words]
    if on and line_of(session, day).may_clear_beside:
        air = air_of(session, day)
        if not spoilt_by(air.ground, air.flying, air.problem, air.lost):
            return ()
    return _wait_for(session, day, on)


def may_be_on_outside(session: Session, pilot_ids: Collection[int]) -> set[int]:
    """Those of the pilots, by id, who may be on outside a call."""
    own = (clearances.live_of(session, pilot_id) for pilot_id in pilot_ids)
    return {one.pilot_id for one in own if one is not None and one.stage in CLEARANCES_MAY_BE_ON}


def _wait_for(session: Session, day: FieldDay, on: Sequence[Clearance]) -> tuple[str, ...]:
    callsigns = {pilot.id: pilot.callsign for pilot in pilots.of_day(session, day.id or 0)}
    return tuple(
        _(
            "%(callsign)s %(is_on)s: wait until it is off.",
            callsign=callsigns[one.pilot_id],
            is_on=_is_on(one),
        )
        for one in on
    )


def unasked_against(session: Session, day: FieldDay) -> str:
    """Who is on unasked so that nobody else of the live call may power up, "Coot and Rook are"; empty for nobody.

    Where the day allows pits beside a heat, only who spoils a picture by computation.
    """
    on = who_is_unasked(session, day)
    if not on or calls.live(session, day.id or 0) is None:
        return ""
    if line_of(session, day).may_clear_beside:
        air = air_of(session, day)
        if not spoilt_by(air.ground, air.flying, air.problem, air.lost):
            return ""
    return on


def who_is_unasked(session: Session, day: FieldDay) -> str:
    """Everybody who is on outside a call, unasked, as "Rook is" or "Coot and Rook are"; empty for nobody."""
    assert day.id is not None
    on = [one for one in clearances.live(session, day.id) if one.stage == UNASKED]
    if not on:
        return ""
    callsigns = {pilot.id: pilot.callsign for pilot in pilots.of_day(session, day.id)}
    names = listed(callsigns[one.pilot_id] for one in on)
    return ngettext("%(callsigns)s is", "%(callsigns)s are", len(on), callsigns=names)


def _is_on(one: Clearance) -> str:
    if one.stage == UNASKED:
        return _("is on, unasked")
    if one.stage == ON:
        return _("is on outside a call, %(why)s", why=_(one.why))
    return _("may be on outside a call, %(why)s", why=_(one.why))


def _why_wait_in_the_pits(clearance: Clearance, air: Air) -> str:
    """With nobody in the air: two on one channel would look at each other's picture."""
    if clearance.mhz is None:
        return ""
    near = [one.up for one in air.ground if abs(one.up.mhz - clearance.mhz) < air.problem.minimum_spacing_mhz]
    if not near:
        return ""
    other = near[0]
    return _(
        "%(callsign)s is on at %(mhz)s MHz, too close to %(other_mhz)s: wait until it is off.",
        callsign=other.pilot.callsign,
        mhz=other.mhz,
        other_mhz=clearance.mhz,
    )


def _until_it_is_over(session: Session, day: FieldDay) -> str:
    call = calls.live(session, day.id or 0)
    if call is None:
        return _("Somebody is up at open flying: wait until everybody is down, or for the director's word.")
    return _(
        "%(heat)s is up: wait until it is over, at about %(over_at)s.",
        heat=named(call),
        over_at=_over_at(day, call),
    )


def _over_at(day: FieldDay, call: Call) -> str:
    """By the day's clocks, as a phone shows them."""
    released = call.released_at or call.called_at + TO_POWER_UP
    over = released + timedelta(minutes=day.heat_minutes) + TO_LAND
    return time_of_day(over.astimezone(ZoneInfo(day.time_zone)))


def _by_computation(session: Session, day: FieldDay, clearance: Clearance, air: Air) -> str:
    field = lineup_of_pilots(session, day, {clearance.pilot_id})
    pilot = field.planned[clearance.pilot_id]
    is_near = clearance.place == PILOT_LINE
    if clearance.mhz is not None:
        newcomer = OnTheGround(Up(pilot, clearance.mhz, clearance.power_mw), is_near)
        spoilt = spoilt_by([*air.ground, newcomer], air.flying, air.problem, air.lost)
        if not spoilt:
            return ""
        could = _(
            "On %(mhz)s MHz it could spoil the picture of %(pilots)s.",
            mhz=clearance.mhz,
            pilots=", ".join(spoilt),
        )
    else:
        channels = _tunable_mhz(session, clearance)
        newcomer = OnTheGround(Up(pilot, channels[0], clearance.power_mw), is_near)
        worst = worst_channel(newcomer, channels, air.ground, air.flying, air.problem, air.lost)
        if worst is None:
            return ""
        could = _(
            "Its channel is not confirmed, and on %(mhz)s MHz it could spoil the picture of %(pilots)s.",
            mhz=worst[0],
            pilots=", ".join(worst[1]),
        )
    return f"{could} {_until_it_is_over(session, day)}"


def _on_the_ground(session: Session, one: Clearance, field: TurnLineup, flying: Sequence[Up]) -> OnTheGround:
    """On the channel that it was confirmed on; else on the worst that it can tune, for those who fly."""
    pilot, is_near = field.planned[one.pilot_id], one.place == PILOT_LINE
    if one.mhz is not None:
        return OnTheGround(Up(pilot, one.mhz, one.power_mw), is_near)
    channels = _tunable_mhz(session, one)
    newcomer = OnTheGround(Up(pilot, channels[0], one.power_mw), is_near)
    worst = worst_channel(newcomer, channels, [], flying, field.problem)
    return OnTheGround(Up(pilot, worst[0] if worst else channels[0], one.power_mw), is_near)


def _tunable_mhz(session: Session, clearance: Clearance) -> Sequence[int]:
    """Every channel that the transmitter can be on, in use today or not."""
    aircraft = pilots.aircraft_of(session, clearance.pilot_id)
    switched_on = next((one for one in aircraft if one.id == clearance.aircraft_id), aircraft[0])
    return sorted(lineup.setup_of(switched_on).tunes.mhz)


def _lost(down: Down) -> Up:
    pilot = PlannedPilot(
        down.callsign, (down.mhz,), (down.power_mw,), antenna=down.antenna, gain_dbi=down.gain_dbi
    )
    return Up(pilot, down.mhz, down.power_mw)
