"""The flights of each pilot in a plan: in which heats, on which channel, at which power."""

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

Heat = Mapping[str, Any]


@dataclass(frozen=True)
class Stay:
    """Heats one after another of a pilot on one channel with one power, as (heat, round)."""

    channel: str | None
    mhz: int
    power_mw: float
    heats: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class PilotFlights:
    """One pilot. `stays` are in the order of flying: from the second on each begins with a retune."""

    pilot_id: int
    callsign: str
    stays: tuple[Stay, ...]


def flights_of_pilots(heats: Iterable[Heat]) -> tuple[PilotFlights, ...]:
    """Everybody in these heats by callsign, as an index orders them: capitals and accents do not count."""
    slots: dict[int, list[tuple[Heat, Mapping[str, Any]]]] = {}
    for heat in heats:
        for slot in heat["slots"]:
            slots.setdefault(slot["pilot_id"], []).append((heat, slot))
    found = (
        PilotFlights(pilot_id, flown[-1][1]["callsign"], _stays(flown)) for pilot_id, flown in slots.items()
    )
    return tuple(sorted(found, key=lambda pilot: _index_key(pilot.callsign)))


def _stays(flown: Iterable[tuple[Heat, Mapping[str, Any]]]) -> tuple[Stay, ...]:
    stays: list[Stay] = []
    for heat, slot in flown:
        place = (heat["heat"], heat["round"])
        tuned = (slot["channel"], slot["mhz"], slot["power_mw"])
        if stays and (stays[-1].channel, stays[-1].mhz, stays[-1].power_mw) == tuned:
            place_before = stays.pop().heats
            stays.append(Stay(*tuned, (*place_before, place)))
        else:
            stays.append(Stay(*tuned, (place,)))
    return tuple(stays)


def _index_key(callsign: str) -> tuple[str, str]:
    spelt = unicodedata.normalize("NFKD", callsign.casefold())
    return "".join(letter for letter in spelt if not unicodedata.combining(letter)), callsign
