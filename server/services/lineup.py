"""The pilots of a day as the planner sees them: checked in, with the aircraft that flies today."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from sqlmodel import Session

from server.allocator import problem
from server.radio.tuning import parse_tuning
from server.services import days
from server.services.callsigns import callsign_key
from server.services.gear import VideoSetup, read_setup
from server.services.roster_rows import gear_text
from server.services.usable import UsableToday, usable_today
from server.services.video import ANALOGUE
from server.storage import pilots, published_plans
from server.storage.tables import CHECKED_IN, Aircraft, FieldDay, Pilot


def problem_pilots(session: Session, day: FieldDay) -> list[problem.Pilot]:
    """Who is to be planned, in the order they came. Other than analogue video is planned by people."""
    assert day.id is not None
    present = pilots.of_day(session, day.id, [CHECKED_IN])
    aircraft = pilots.aircraft_of_day(session, day.id)
    known = {pilot.callsign_key: pilot.callsign for pilot in present}
    published_mhz = published_channels(session, day)
    planned = []
    for pilot in present:
        flying = flying_of(pilot, aircraft.get(pilot.id or 0, []))
        if flying and flying.video == ANALOGUE:
            planned.append(planned_pilot(day, pilot, flying, known, published_mhz))
    return planned


def planned_pilot(
    day: FieldDay,
    pilot: Pilot,
    flying: Aircraft,
    known: Mapping[str, str],
    published_mhz: Mapping[int, int],
) -> problem.Pilot:
    """One pilot with the channels of the day that transmitter and goggles share.

    known          callsign by key of everybody who is checked in; wishes about others are left out
    published_mhz  by pilot id, what the published plan gave
    """
    setup, usable = _today(day.settings_json, day.rule_set_json, tuple(gear_text(flying).items()))
    return problem.Pilot(
        callsign=pilot.callsign,
        channels_mhz=usable.channels_mhz,
        power_steps_mw=usable.power_steps_mw,
        antenna=setup.antenna,
        rx_antenna=setup.rx_antenna,
        gain_dbi=setup.gain_dbi,
        current_mhz=published_mhz.get(pilot.id or 0, pilot.provisional_mhz),
        pin_mhz=parse_tuning(pilot.pin).mhz if pilot.pin else (),
        apart=_present(pilot.apart, known),
        together=_present(pilot.together, known),
        spotter=known.get(callsign_key(pilot.spotter)) if pilot.spotter else None,
        after=pilot.after_heat,
        before=pilot.before_heat,
        heat=pilot.heat,
        labels=setup.labels,
    )


def flying_of(pilot: Pilot, aircraft: list[Aircraft]) -> Aircraft | None:
    return next((one for one in aircraft if one.id == pilot.flying_aircraft_id), None)


def gear_mark(flying: Aircraft | None) -> str:
    """Changes with the aircraft and its set-up, so that what was seen of one is not taken for the other."""
    return f"{flying.id}.{flying.version}" if flying else ""


def setup_of(aircraft: Aircraft) -> VideoSetup:
    """What the aircraft's video can do. It was read once before it was stored, so it can be read again."""
    return _setup(tuple(gear_text(aircraft).items()))


@lru_cache(maxsize=1024)
def _setup(gear: tuple[tuple[str, str], ...]) -> VideoSetup:
    return read_setup(dict(gear), "")


@lru_cache(maxsize=1024)
def _today(
    settings_json: str, rule_set_json: str | None, gear: tuple[tuple[str, str], ...]
) -> tuple[VideoSetup, UsableToday]:
    """A set-up and what the day leaves of it: by what they are made of, since each takes milliseconds."""
    of_the_day: dict[str, Any] = {"settings_json": settings_json, "rule_set_json": rule_set_json}
    day = FieldDay(**of_the_day)
    setup = _setup(gear)
    allowed_mhz = days.allowed_mhz(day, setup.usable_mhz)
    usable = usable_today("", setup, allowed_mhz, days.rule_set_of(day), days.tested_width_mhz(day))
    return setup, usable


def published_channels(session: Session, day: FieldDay) -> dict[int, int]:
    """The carrier in MHz that the day's latest published plan gives each pilot, by pilot id.

    That of the next heat to fly, or of the last one flown where none is ahead.
    """
    return {pilot_id: slot["mhz"] for pilot_id, slot in published_slots(session, day).items()}


def published_slots(session: Session, day: FieldDay) -> dict[int, Mapping[str, Any]]:
    """The same with everything that the plan says about the slot, and the number of its heat as `heat`."""
    assert day.id is not None
    plan = published_plans.latest(session, day.id)
    heats = published_plans.facts(plan).get("heats", []) if plan else []
    flown, ahead = heats[: day.flown_heats], heats[day.flown_heats :]
    return {
        slot["pilot_id"]: {**slot, "heat": heat.get("heat")}
        for heat in [*flown, *reversed(ahead)]
        for slot in heat["slots"]
    }


def list_of(callsigns: str) -> list[str]:
    """The callsigns of a stored list."""
    return [name for name in callsigns.split(", ") if name]


def _present(callsigns: str, known: Mapping[str, str]) -> frozenset[str]:
    here = set(known.values())
    return frozenset(name for name in list_of(callsigns) if name in here)
