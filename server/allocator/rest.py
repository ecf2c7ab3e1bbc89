"""What is left of a day when it changes: the heats ahead, who joins them, who is set to what.

Heats that were flown are history: they only say who has flown already. A transmitter that is down and still on
is one more member of every heat ahead: it is heard like the others and mixes with them, and receives nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.plan import Heat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import is_there, pairs
from server.allocator.scoring import day_gear


@dataclass(frozen=True)
class Down:
    """A transmitter that crashed and still transmits, at the near distance unless better known."""

    callsign: str
    mhz: int
    power_mw: float
    antenna: str = "rhcp"
    gain_dbi: float = 0.0


@dataclass(frozen=True)
class RestOfDay:
    """A day that changed.

    problem     everybody who flies from now on, `current_mhz` being what each transmitter is set to
    heats       all heats of the plan, 1, 2, 3, ...; who flies in none ahead joins them
    first_open  number of the first heat that is not flown yet
    common_mw   the common level, for those who have no slot yet
    """

    problem: DayProblem
    heats: tuple[Heat, ...]
    first_open: int
    common_mw: float
    down: tuple[Down, ...] = ()

    @property
    def open_heats(self) -> tuple[Heat, ...]:
        return tuple(heat for heat in self.heats if heat.number >= self.first_open)


@dataclass(frozen=True)
class OpenHeat:
    """One heat ahead: pilots by index, `was` its number in the plan (None: a new one), `number` from now on."""

    number: int
    round: int
    was: int | None
    pilots: tuple[int, ...]


@dataclass(frozen=True)
class Seat:
    """A place that a pilot needs in a round: the heats ahead, by index, that may give it."""

    pilot: int
    round: int
    heats: tuple[int, ...]


@dataclass(frozen=True)
class Frame:
    """The heats ahead without those who join, the seats that these need, and who can fly in none.

    gear      of all pilots, then of the transmitters that are down
    stay      (N,) index of the channel each pilot keeps if not moved; -1 for none or one not usable any more
    is_set    (N,) bool: set to a channel already, so that another one is a move
    powers_mw (N,)
    stuck     pilots, by index, whose gear has no channel left
    missed    pilot, by index, and round: who joins and finds no room in a round that has begun
    """

    heats: tuple[OpenHeat, ...]
    seats: tuple[Seat, ...]
    gear: Gear
    stay: np.ndarray
    is_set: np.ndarray
    powers_mw: tuple[float, ...]
    stuck: tuple[int, ...]
    missed: tuple[tuple[int, int], ...]


def frame_of_rest(rest: RestOfDay, has_extra_heats: bool = False) -> Frame:
    """The heats ahead as they stand after the change.

    has_extra_heats   a heat more at the end of every round that has not begun, for those who join
    """
    powers = _powers_mw(rest)
    gear = _gear(rest, powers)
    stuck = tuple(int(row) for row in np.flatnonzero(~gear.usable.any(axis=1)))
    heats = _open_heats(rest, set(stuck))
    joining = [row for row in _joining(rest) if row not in stuck]
    wanted = _seats(rest, heats, joining)
    lacking = {seat.round for seat in wanted if has_extra_heats or not seat.heats} - _begun(rest)
    if lacking:
        heats = _with_extra(heats, lacking)
        wanted = _seats(rest, heats, joining)
    heats = _numbered(heats, rest.first_open)
    index = {int(mhz): f for f, mhz in enumerate(gear.mhz)}
    pilots = rest.problem.pilots
    stay = np.array([index.get(pilot.current_mhz or -1, -1) for pilot in pilots], dtype=np.int64)
    for row, f in enumerate(stay):
        if f >= 0 and not gear.usable[row, f]:
            stay[row] = -1
    return Frame(
        heats=tuple(heats),
        seats=tuple(seat for seat in wanted if seat.heats),
        gear=gear,
        stay=stay,
        is_set=np.array([pilot.current_mhz is not None for pilot in pilots], dtype=np.bool_),
        powers_mw=tuple(powers),
        stuck=stuck,
        missed=tuple((seat.pilot, seat.round) for seat in wanted if not seat.heats),
    )


def _powers_mw(rest: RestOfDay) -> list[float]:
    """The power of the published slot while the gear still has it, else as under the common level."""
    published = {slot.callsign: slot.power_mw for heat in rest.heats for slot in heat.slots}
    found = []
    for pilot in rest.problem.pilots:
        power = published.get(pilot.callsign)
        keeps = pilot.power_mw is None and power in pilot.power_steps_mw
        found.append(power if keeps and power is not None else pilot.power_at(rest.common_mw))
    return found


def _gear(rest: RestOfDay, powers_mw: Sequence[float]) -> Gear:
    problem = rest.problem
    near_down = {
        pilot.callsign: tuple(
            mhz
            for mhz in problem.choices_mhz(pilot)
            if all(abs(mhz - one.mhz) >= problem.minimum_spacing_mhz for one in rest.down)
        )
        for pilot in problem.pilots
    }
    real = [replace(pilot, channels_mhz=near_down[pilot.callsign], pin_mhz=()) for pilot in problem.pilots]
    lost = [
        Pilot(f"{one.callsign} {number}, down", (one.mhz,), antenna=one.antenna, gain_dbi=one.gain_dbi)
        for number, one in enumerate(rest.down)
    ]
    # A channel that is out of use may still be what a lost transmitter is on.
    everybody = replace(problem, pilots=(*real, *lost), bans_mhz=(), heats_given=None)
    gear = day_gear(everybody, [*powers_mw, *(one.power_mw for one in rest.down)])
    wanted_mw, alike = gear.wanted_mw.copy(), gear.alike.copy()
    wanted_mw[len(real) :] = np.inf
    alike[len(real) :] = len(alike) + np.arange(len(lost))
    return gear._replace(wanted_mw=wanted_mw, alike=alike)


def _open_heats(rest: RestOfDay, stuck: set[int]) -> list[OpenHeat]:
    """Those ahead in which somebody still flies."""
    rows = {pilot.callsign: row for row, pilot in enumerate(rest.problem.pilots)}
    found = []
    for heat in rest.open_heats:
        flying = [rows[slot.callsign] for slot in heat.slots if slot.callsign in rows]
        members = tuple(row for row in flying if row not in stuck)
        if members:
            found.append(OpenHeat(heat.number, heat.round, heat.number, members))
    return found


def _joining(rest: RestOfDay) -> list[int]:
    """Pilots with no slot ahead."""
    flying = {slot.callsign for heat in rest.open_heats for slot in heat.slots}
    return [row for row, pilot in enumerate(rest.problem.pilots) if pilot.callsign not in flying]


def _begun(rest: RestOfDay) -> set[int]:
    return {heat.round for heat in rest.heats if heat.number < rest.first_open}


def _seats(rest: RestOfDay, heats: Sequence[OpenHeat], joining: Sequence[int]) -> list[Seat]:
    """What everybody who joins needs: a place in each round ahead; no heats where there is no room."""
    flown = {
        (heat.round, slot.callsign)
        for heat in rest.heats
        if heat.number < rest.first_open
        for slot in heat.slots
    }
    rounds = sorted({heat.round for heat in rest.open_heats})
    found = []
    for row in joining:
        for number in rounds:
            pilot = rest.problem.pilots[row]
            if (number, pilot.callsign) in flown or not _comes(rest, pilot, number):
                continue
            fitting = tuple(place for place in _fitting(rest, heats, row) if heats[place].round == number)
            found.append(Seat(row, number, fitting))
    return found


def _comes(rest: RestOfDay, pilot: Pilot, round_number: int) -> bool:
    return any(is_there(pilot, heat.number) for heat in rest.open_heats if heat.round == round_number)


def _fitting(rest: RestOfDay, heats: Sequence[OpenHeat], row: int) -> list[int]:
    """Heats ahead, by index, that the hard rules let a pilot join."""
    apart, together = pairs(rest.problem, "apart"), pairs(rest.problem, "together")
    pilot = rest.problem.pilots[row]
    found = []
    for place, heat in enumerate(heats):
        number = heat.was or heat.number
        same_round = [one for one in heats if one.round == heat.round]
        friends = {mate for one in same_round for mate in one.pilots if together[row, mate]}
        is_elsewhere = pilot.heat != number and pilot.heat in {one.was for one in same_round}
        if (
            len(heat.pilots) < rest.problem.aircraft
            and is_there(pilot, number)
            and not (pilot.heat is not None and is_elsewhere)
            and not apart[row, list(heat.pilots)].any()
            and friends <= set(heat.pilots)
        ):
            found.append(place)
    return found


def _with_extra(heats: Sequence[OpenHeat], rounds: set[int]) -> list[OpenHeat]:
    found: list[OpenHeat] = []
    for place, heat in enumerate(heats):
        found.append(heat)
        is_last = place + 1 == len(heats) or heats[place + 1].round != heat.round
        if is_last and heat.round in rounds:
            found.append(OpenHeat(heat.number, heat.round, None, ()))
    return found


def _numbered(heats: Sequence[OpenHeat], first: int) -> list[OpenHeat]:
    return [replace(heat, number=number) for number, heat in enumerate(heats, start=first)]
