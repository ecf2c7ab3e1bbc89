"""Whether a transmitter is known to be on the channel that its pilot is to have.

A picture check says so, until the aircraft's set-up changes, another aircraft flies, or the pilot gets another
channel: from then on it may be on any channel it can tune, and it stays in doubt when the old channel comes back.
"""

from sqlmodel import Session

from server.services import lineup
from server.storage import calls, days, pilots
from server.storage import picture_checks as stored
from server.storage import turns as stored_turns
from server.storage.tables import (
    CHANNEL_RIGHT,
    CHANNEL_WRONG,
    LEFT_OUT,
    OFF,
    Aircraft,
    FieldDay,
    PictureCheck,
    Pilot,
)


def is_confirmed(session: Session, pilot: Pilot) -> bool:
    """Whether the transmitter that this pilot flies was seen on the pilot's channel since its last change."""
    assert pilot.id is not None
    day = days.by_id(session, pilot.field_day_id)
    assert day is not None
    check = stored.latest_of(session, pilot.id)
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    return is_of_now(check, flying, channel_now(session, day, pilot)) and is_right(check)


def confirmed_pilots(session: Session, day: FieldDay) -> frozenset[int]:
    """The same for a whole day: ids of the pilots whose channel is confirmed."""
    return frozenset(
        pilot_id for pilot_id, check in _checks_of_now(session, day).items() if check.verdict == CHANNEL_RIGHT
    )


def wrong_pilots(session: Session, day: FieldDay) -> frozenset[int]:
    """Ids of the pilots whose transmitter was last found on another channel than theirs."""
    return frozenset(
        pilot_id for pilot_id, check in _checks_of_now(session, day).items() if check.verdict == CHANNEL_WRONG
    )


def channel_now(session: Session, day: FieldDay, pilot: Pilot) -> int | None:
    """The carrier in MHz that the pilot is to be on: that of the heat that is called, of the place at open flying,
    else the published or the provisional one; None before there is one."""
    assert pilot.id is not None
    return channels_now(session, day).get(pilot.id)


def channels_now(session: Session, day: FieldDay) -> dict[int, int]:
    """The same for everybody of the day who has one, by pilot id."""
    assert day.id is not None
    found = {pilot.id or 0: pilot.provisional_mhz for pilot in pilots.of_day(session, day.id)}
    found.update(lineup.published_channels(session, day))
    found.update({turn.pilot_id: turn.mhz for turn in stored_turns.live(session, day.id) if turn.mhz})
    call = calls.live(session, day.id)
    for slot in calls.slots_of(session, call.id or 0) if call else ():
        if slot.stage not in (OFF, LEFT_OUT):
            found[slot.pilot_id] = slot.mhz
    return {pilot_id: mhz for pilot_id, mhz in found.items() if mhz}


def is_of_now(check: PictureCheck | None, flying: Aircraft | None, mhz: int | None) -> bool:
    """Whether a check, of any verdict, was about this aircraft as it is now, and about this channel."""
    return (
        check is not None
        and flying is not None
        and check.aircraft_id == flying.id
        and check.gear == lineup.gear_mark(flying)
        and check.mhz == mhz
    )


def is_right(check: PictureCheck | None) -> bool:
    return check is not None and check.verdict == CHANNEL_RIGHT


def void_where_moved(session: Session, day: FieldDay) -> None:
    """Make an end of the checks of pilots who are to be on another channel, or have other gear, since."""
    assert day.id is not None
    for pilot_id in set(stored.latest(session, day.id)) - set(_checks_of_now(session, day)):
        stored.void_all_of(session, pilot_id)


def void_unless_on(session: Session, pilot_id: int, mhz: int) -> None:
    """Make an end of a check on another channel than the one that the pilot gets now."""
    check = stored.latest_of(session, pilot_id)
    if check is not None and check.mhz != mhz:
        stored.void_all_of(session, pilot_id)


def _checks_of_now(session: Session, day: FieldDay) -> dict[int, PictureCheck]:
    assert day.id is not None
    checks = stored.latest(session, day.id)
    if not checks:
        return {}
    aircraft = pilots.aircraft_of_day(session, day.id)
    channels_mhz = channels_now(session, day)
    found = {}
    for pilot in pilots.of_day(session, day.id):
        assert pilot.id is not None
        check = checks.get(pilot.id)
        flying = lineup.flying_of(pilot, aircraft.get(pilot.id, []))
        if check and is_of_now(check, flying, channels_mhz.get(pilot.id)):
            found[pilot.id] = check
    return found
