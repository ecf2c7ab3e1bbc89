"""The bench check of an aircraft, propellers off: what was ticked, what is missing, and who still has to come.

Ticks belong to the aircraft: a spare has its own. What concerns the video, antenna and power, has to be seen again
when the set-up changes. The channel is no tick: a picture check confirms it.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.services import channel_confirmation, lineup
from server.services.days import settings_of
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.pilots import check_open
from server.services.roster_rows import log
from server.services.video import ANALOGUE
from server.storage import bench_ticks as stored
from server.storage import logbook, pilots
from server.storage.tables import BENCH_ITEMS, CHECKED_IN, OF_THE_VIDEO, Aircraft, BenchTick, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

CHANNEL = "channel"
"""Confirmed by a picture check, not ticked."""

NAMES: Mapping[str, str] = {
    "failsafe": marked("failsafe"),
    "arming": marked("arming switch"),
    "link": marked("control link"),
    "antenna": marked("antenna"),
    "power": marked("power"),
    CHANNEL: marked("channel"),
}
"""What is to be seen, in as few words as a list of what is missing can do with."""


@dataclass(frozen=True)
class BenchRow:
    """One pilot in the list of the bench; `missing` as NAMES."""

    pilot: Pilot
    flying: Aircraft
    mhz: int | None
    missing: tuple[str, ...]


def is_needed(day: FieldDay) -> bool:
    """Whether nobody flies on this day before the bench check is complete."""
    return settings_of(day).bench_check_needed


def demand(session: Session, day: FieldDay, needed: bool, who: str, at: datetime) -> None:
    """Say whether the day needs it; a second press changes nothing."""
    check_open(day)
    if is_needed(day) == needed:
        return
    settings = settings_of(day).model_copy(update={"bench_check_needed": needed})
    day.settings_json = settings.model_dump_json()
    session.flush()
    text = (
        _("Nobody flies before the bench check.")
        if needed
        else _("The bench check is not needed before flying.")
    )
    logbook.append(session, day.id, who, "bench check needed", text, {"needed": needed}, at)


def tick(session: Session, day: FieldDay, pilot: Pilot, item: str, seen: str, who: str, at: datetime) -> None:
    """Note that an item was seen to be right on the aircraft that flies; a second press changes nothing.

    seen  `lineup.gear_mark` of the aircraft that the page showed

    Raises OvertakenError where another aircraft or set-up flies since, RefusedError for a pilot who is not here.
    """
    flying = _flying(session, day, pilot, item, seen)
    assert flying.id is not None
    known = stored.of_aircraft(session, flying.id).get(item)
    if known is not None and not _holds(known, flying):
        known.taken_back_at = at  # the set-up changed since: it is seen anew
        session.flush()
    elif known is not None:
        return
    assert day.id is not None
    assert pilot.id is not None
    row = BenchTick(
        field_day_id=day.id,
        pilot_id=pilot.id,
        aircraft_id=flying.id,
        item=item,
        gear=lineup.gear_mark(flying),
        who=who,
        at=at,
    )
    stored.add(session, row)
    text = _(
        "%(callsign)s, %(name)s: bench check, %(item)s seen.",
        callsign=pilot.callsign,
        name=flying.name,
        item=_(NAMES[item]),
    )
    log(session, day, pilot, who, "bench tick", text, {"aircraft_id": flying.id, "item": item}, at)


def take_back(
    session: Session, day: FieldDay, pilot: Pilot, item: str, seen: str, who: str, at: datetime
) -> None:
    """Undo a tick; a second press changes nothing. Raises as `tick` does."""
    flying = _flying(session, day, pilot, item, seen)
    assert flying.id is not None
    known = stored.of_aircraft(session, flying.id).get(item)
    if known is None:
        return
    known.taken_back_at = at
    text = _(
        "%(callsign)s, %(name)s: bench check, %(item)s taken back.",
        callsign=pilot.callsign,
        name=flying.name,
        item=_(NAMES[item]),
    )
    log(session, day, pilot, who, "bench tick undone", text, {"aircraft_id": flying.id, "item": item}, at)


def ticks_of(session: Session, flying: Aircraft) -> dict[str, BenchTick]:
    """What holds for an aircraft as it is now, by item."""
    assert flying.id is not None
    ticked = stored.of_aircraft(session, flying.id)
    return {item: one for item, one in ticked.items() if _holds(one, flying)}


def missing_checks(session: Session, day: FieldDay, pilot: Pilot) -> tuple[str, ...]:
    """What keeps a pilot from flying, as NAMES; nothing where the day does not need the bench check."""
    return missing(session, day, pilot) if is_needed(day) else ()


def missing(session: Session, day: FieldDay, pilot: Pilot) -> tuple[str, ...]:
    """What the bench check of the aircraft that flies is still short of, as NAMES."""
    assert pilot.id is not None
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    if flying is None:
        return tuple(_(name) for name in NAMES.values())
    is_confirmed = channel_confirmation.is_confirmed(session, pilot)
    return _missing(flying, ticks_of(session, flying), is_confirmed)


def rows(session: Session, day: FieldDay) -> list[BenchRow]:
    """Everybody who is checked in, by callsign, those who are through last."""
    assert day.id is not None
    aircraft = pilots.aircraft_of_day(session, day.id)
    confirmed = channel_confirmation.confirmed_pilots(session, day)
    channels_mhz = channel_confirmation.channels_now(session, day)
    ticked: dict[int, dict[str, BenchTick]] = {}
    for one in stored.of_day(session, day.id):
        ticked.setdefault(one.aircraft_id, {})[one.item] = one
    found = []
    for pilot in sorted(pilots.of_day(session, day.id, [CHECKED_IN]), key=lambda one: one.callsign_key):
        flying = lineup.flying_of(pilot, aircraft.get(pilot.id or 0, []))
        if flying is None:
            continue
        own = ticked.get(flying.id or 0, {})
        holding = {item: one for item, one in own.items() if _holds(one, flying)}
        short_of = _missing(flying, holding, pilot.id in confirmed)
        found.append(BenchRow(pilot, flying, channels_mhz.get(pilot.id or 0), short_of))
    return sorted(found, key=lambda row: not row.missing)


def _missing(flying: Aircraft, ticked: Collection[str], is_confirmed: bool) -> tuple[str, ...]:
    """Other than analogue video shows no picture at the desk: people agree on its place."""
    short_of = [item for item in BENCH_ITEMS if item not in ticked]
    if flying.video == ANALOGUE and not is_confirmed:
        short_of.append(CHANNEL)
    return tuple(_(NAMES[item]) for item in short_of)


def _holds(tick: BenchTick, flying: Aircraft) -> bool:
    return tick.item not in OF_THE_VIDEO or tick.gear == lineup.gear_mark(flying)


def _flying(session: Session, day: FieldDay, pilot: Pilot, item: str, seen: str) -> Aircraft:
    check_open(day)
    if item not in BENCH_ITEMS:
        raise InputError({"item": _("Choose an item of the bench check.")})
    return flying_seen(session, pilot, seen)


def flying_seen(session: Session, pilot: Pilot, seen: str) -> Aircraft:
    """The aircraft that a page showed, if it still is the one that flies, with the same set-up.

    Raises OvertakenError where it is not, RefusedError where the pilot is not here.
    """
    assert pilot.id is not None
    if pilot.state != CHECKED_IN:
        raise RefusedError(
            _(
                "%(callsign)s is %(state)s: bring the pilot back at the desk first.",
                callsign=pilot.callsign,
                state=_(pilot.state),
            )
        )
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    if flying is None or lineup.gear_mark(flying) != seen:
        raise OvertakenError(
            _(
                "%(callsign)s's aircraft or its set-up changed since this page was loaded. Look at the page "
                "as it is now, and check that aircraft.",
                callsign=pilot.callsign,
            )
        )
    return flying
