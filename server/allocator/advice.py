"""What would help a slot most: every single change of a heat tried, and the best of each kind.

Three kinds: one pilot on another channel, one pilot on less power, one pilot fewer. Each change is measured by
itself, with everybody else as they are, so the answer is exact over single changes and says nothing of two.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, margin_of_load_db, margins_db, quietest_mw, station
from server.radio.interference import wanted_level_dbm
from server.radio.receiver import link_margin_db

HELPS_DB = 0.1
"""A change that lifts a margin by less is not worth telling: margins are shown to this."""

Kind = Literal["move", "power", "fewer"]
KINDS: tuple[Kind, ...] = ("move", "power", "fewer")


@dataclass(frozen=True)
class Seat:
    """One pilot's place in the heat that is looked at."""

    pilot: Pilot
    mhz: int
    power_mw: float


@dataclass(frozen=True)
class Change:
    """One change, and what it makes of the heat.

    place       whom it concerns, counted from 0 in the order of the seats
    mhz         the new channel of a move, power_mw the new power; None in the other kinds
    margins_db  one a seat, infinite for who then flies alone; not a number for who is left out
    """

    kind: Kind
    place: int
    mhz: int | None
    power_mw: float | None
    margins_db: tuple[float, ...]

    @property
    def worst_db(self) -> float:
        """The worst margin of those who then fly."""
        return float(np.nanmin(self.margins_db))


@dataclass(frozen=True)
class Advice:
    """What would help one slot.

    best        the best change of each kind that helps, in the order of KINDS
    ceiling_db  no choice of channels gives this slot more, with these powers and this many up; infinite alone
    is_ceiling  the slot is within HELPS_DB of that: only power or fewer pilots could help
    """

    best: tuple[Change, ...]
    ceiling_db: float
    is_ceiling: bool


def advise(seats: Sequence[Seat], problem: DayProblem) -> tuple[Advice, ...]:
    """What would help each slot of a heat, in the order of the seats.

    Moves go to channels that the pilot may have today and that keep the minimum spacing to everybody else; powers
    are own steps below the present one at which the link still holds. A change counts as help if it lifts the
    slot by HELPS_DB and leaves the heat's worst margin no lower than it is.
    """
    if len(seats) < 2 and not problem.site.outside:
        return tuple(Advice((), math.inf, False) for _ in seats)
    now = _margins(seats, problem)
    changes = [*_moves(seats, problem), *_powers(seats, problem), *_fewer(seats, now, problem)]
    ceilings = _ceilings_db(seats, problem)
    return tuple(
        Advice(
            tuple(best for kind in KINDS if (best := _best(kind, place, seats, now, changes))),
            ceilings[place],
            ceilings[place] - now[place] < HELPS_DB,
        )
        for place in range(len(seats))
    )


def _best(
    kind: Kind, place: int, seats: Sequence[Seat], now: Sequence[float], changes: Sequence[Change]
) -> Change | None:
    worst_db = min(now)
    helping = [
        change
        for change in changes
        if change.kind == kind
        and change.margins_db[place] >= now[place] + HELPS_DB
        and round(change.worst_db, 2) >= round(worst_db, 2)
    ]
    # Equal to a hundredth of a dB: the smallest step, then the own one, then the first of the heat, the lowest.
    return max(
        helping,
        key=lambda change: (
            round(change.margins_db[place], 2),
            round(change.worst_db, 2),
            -_step(change, seats[change.place]),
            change.place == place,
            -change.place,
            -(change.mhz or 0),
        ),
        default=None,
    )


def _step(change: Change, seat: Seat) -> float:
    """How far a change goes from what is: MHz of a move, mW of a power."""
    if change.kind == "fewer":
        return 0.0
    return abs((change.mhz or seat.mhz) - seat.mhz) + abs((change.power_mw or seat.power_mw) - seat.power_mw)


def _moves(seats: Sequence[Seat], problem: DayProblem) -> Iterator[Change]:
    gear, everybody = _gear(seats, problem), range(len(seats))
    held = [seat.mhz for seat in seats]
    for place, seat in enumerate(seats):
        others = [*held[:place], *held[place + 1 :]]
        for mhz in problem.choices_mhz(seat.pilot):
            is_free = all(abs(mhz - other) >= problem.minimum_spacing_mhz for other in others)
            if is_free and mhz != seat.mhz:
                tuned = [*held[:place], mhz, *held[place + 1 :]]
                yield Change("move", place, mhz, None, _plain(margins_db(gear, everybody, tuned)[0]))


def _powers(seats: Sequence[Seat], problem: DayProblem) -> Iterator[Change]:
    site = problem.site
    for place, seat in enumerate(seats):
        for power_mw in seat.pilot.power_steps_mw:
            lower = Seat(seat.pilot, seat.mhz, power_mw)
            wanted_dbm = wanted_level_dbm(station(seat.pilot, seat.mhz, power_mw), site)
            holds = link_margin_db(wanted_dbm, site.receiver) >= site.receiver.fade_allowance_db
            if power_mw < seat.power_mw and holds:
                margins = _margins([*seats[:place], lower, *seats[place + 1 :]], problem)
                yield Change("power", place, None, power_mw, margins)


def _fewer(seats: Sequence[Seat], now: Sequence[float], problem: DayProblem) -> Iterator[Change]:
    gear = _gear(seats, problem)
    for place in range(len(seats) if len(seats) > 1 else 0):
        left = [other for other in range(len(seats)) if other != place]
        found = np.full(len(now), np.nan)
        found[left] = margins_db(gear, left, [seats[other].mhz for other in left])[0]
        yield Change("fewer", place, None, None, _plain(found))


def _ceilings_db(seats: Sequence[Seat], problem: DayProblem) -> list[float]:
    """Margin of each slot with every other carrier past the floor of the protection ratio and nothing mixed.

    Outside signals count as on the quietest channel of all.
    """
    gear = _gear(seats, problem)
    floor, quiet_mw = gear.protection[-1], quietest_mw(gear)
    loads = []
    for place in range(len(seats)):
        heard_mw = np.delete(gear.level_mw[gear.sense[place]], place).sum()
        loads.append((floor * heard_mw + quiet_mw[place]) / gear.wanted_mw[place])
    return [float(margin) for margin in margin_of_load_db(np.array(loads))]


def _margins(seats: Sequence[Seat], problem: DayProblem) -> tuple[float, ...]:
    gear = _gear(seats, problem)
    return _plain(margins_db(gear, range(len(seats)), [seat.mhz for seat in seats])[0])


def _gear(seats: Sequence[Seat], problem: DayProblem) -> Gear:
    pilots = tuple(seat.pilot for seat in seats)
    return day_gear(problem.with_pilots(pilots), [seat.power_mw for seat in seats])


def _plain(margins: np.ndarray) -> tuple[float, ...]:
    return tuple(float(margin) for margin in margins)
