"""Local search over the channels of the heats ahead, with a limit to how many pilots may move.

A state is compared by the loads of its heats, the worst first, so that a move in one of two equally bad heats
counts as progress. Nothing here depends on chance: the same question has the same answer.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from server.allocator.moves_core import BROKEN, TIE, channel_loads, heat_load
from server.allocator.problem import DayProblem
from server.allocator.rest import Frame
from server.allocator.schedule import pairs

WIDTH = 4
"""States kept from one number of moves to the next."""

TRIALS = 8
"""Single moves that are improved further, the best first."""

CHANNELS_A_PILOT = 2
MOST_PASSES = 5
COMPARED = 6
"""Heats, the worst first, by which two states are compared."""


@dataclass(frozen=True)
class Placed:
    """channel (N,) by index; seats: heat of each seat; loads (H,); key: smaller is better.

    The key counts first the pairs of all heats that break the spacing, then goes by the worst heats.
    """

    channel: np.ndarray
    seats: tuple[int, ...]
    loads: np.ndarray
    key: tuple[float, ...]

    @property
    def worst(self) -> float:
        """Load of the worst heat."""
        return float(self.loads.max(initial=0.0))


class RestSearch:
    """States of the heats ahead; transmitters that are down are the last members of every heat."""

    def __init__(self, problem: DayProblem, frame: Frame, down: int, step: Callable[[], None]) -> None:
        self.problem = problem
        self.frame = frame
        self.gear = frame.gear
        self.step = step
        pilots = len(problem.pilots)
        self.down = tuple(range(pilots, pilots + down))
        lost_on = [int(np.flatnonzero(self.gear.usable[row])[0]) for row in self.down]
        self.stay = np.array([*frame.stay.tolist(), *lost_on], dtype=np.int64)
        self.is_set = np.array([*frame.is_set.tolist(), *[False] * down], dtype=np.bool_)
        self.apart = pairs(problem, "apart")
        self.together = pairs(problem, "together")
        joining = {seat.pilot for seat in frame.seats}
        self.flying = sorted({row for heat in frame.heats for row in heat.pilots} | joining)
        self.choosing = [row for row in self.flying if self.stay[row] < 0]
        self.forced = sum(bool(self.is_set[row]) for row in self.choosing)
        self.seats_of = {
            row: [place for place, seat in enumerate(frame.seats) if seat.pilot == row] for row in joining
        }

    # States

    def start(self) -> Placed:
        """Nobody moved but those who must: they and the newcomers are placed one by one and improved."""
        channel = np.maximum(self.stay, 0)
        for row in self.choosing:
            channel[row] = int(np.flatnonzero(self.gear.usable[row])[0])
        placed = self._placed(channel, self._first_seats())
        order = sorted(self._free(placed), key=lambda row: (int(self.gear.usable[row].sum()), row))
        return self._improved(placed, order)

    def one_more(self, beam: Sequence[Placed], moved: int) -> list[Placed]:
        """The best states with at most so many moved, from the best with one less; the best first."""
        trials = list(beam)
        for placed in beam:
            if len(self.moved(placed)) < moved:
                for row in self._worth_moving(placed):
                    trials += self._on_best_channels(placed, row, may_move=True)
        trials.sort(key=lambda one: one.key)
        found = [self._improved(one, self._free(one)) for one in trials[:TRIALS]]
        distinct = {(one.channel.tobytes(), one.seats): one for one in [*found, *beam]}
        return sorted(distinct.values(), key=lambda one: one.key)[:WIDTH]

    def with_channels(self, placed: Placed, members: Sequence[int], channel: np.ndarray) -> Placed:
        """The same seats with other channels for some of the pilots."""
        changed = placed.channel.copy()
        changed[list(members)] = channel
        return self._placed(changed, placed.seats)

    def members(self, placed: Placed, heat: int) -> tuple[int, ...]:
        """Who is in a heat, by index, ascending; those that are down last."""
        joined = [
            seat.pilot for seat, where in zip(self.frame.seats, placed.seats, strict=True) if where == heat
        ]
        pilots = sorted([*self.frame.heats[heat].pilots, *joined])
        return (*pilots, *self.down) if pilots else ()

    def moved(self, placed: Placed) -> list[int]:
        """Pilots set to another channel."""
        return [row for row in self.flying if self.is_set[row] and placed.channel[row] != self.stay[row]]

    def moved_outside(self, placed: Placed, members: Sequence[int]) -> int:
        return sum(row not in members for row in self.moved(placed))

    def forced_outside(self, members: Sequence[int]) -> int:
        return sum(bool(self.is_set[row]) and row not in members for row in self.choosing)

    def worst_heat(self, placed: Placed) -> int:
        return int(placed.loads.argmax())

    def broken_heats(self, placed: Placed) -> tuple[int, ...]:
        """Numbers of the heats in which the spacing is broken."""
        return tuple(self.frame.heats[heat].number for heat in np.flatnonzero(placed.loads >= BROKEN))

    # Improving

    def _improved(self, placed: Placed, rows: Sequence[int]) -> Placed:
        """One of ``rows`` after the other on the best of the own channels, until nobody helps any more."""
        for _ in range(MOST_PASSES):
            before = placed.key
            for row in rows:
                self.step()
                placed = min(placed, *self._on_best_channels(placed, row), key=lambda one: one.key)
            if placed.key == before:
                break
        return placed

    def _free(self, placed: Placed) -> list[int]:
        """Whose channel or heats may still be chosen without one move more."""
        return sorted({*self.choosing, *self.seats_of, *self.moved(placed)})

    def _worth_moving(self, placed: Placed) -> list[int]:
        """Who is still on the channel set, in the worst heats or in all that break the spacing."""
        worst = np.flatnonzero(placed.loads >= min(placed.worst, BROKEN) * (1.0 - TIE))
        rows = {row for heat in worst for row in self.members(placed, int(heat))}
        return sorted(row for row in rows if self.is_set[row] and placed.channel[row] == self.stay[row])

    def _on_best_channels(self, placed: Placed, row: int, may_move: bool = False) -> list[Placed]:
        """The best few states that differ in the channel of one pilot, and in the heats of one who joins.

        may_move  one who joins and is still on the channel set may leave it
        """
        if row in self.seats_of:
            is_kept = self.is_set[row] and placed.channel[row] == self.stay[row] and not may_move
            return self._seated(placed, row, [int(self.stay[row])] if is_kept else None)
        own = [place for place, heat in enumerate(self.frame.heats) if row in heat.pilots]
        options = np.flatnonzero(self.gear.usable[row])
        loads = np.repeat(placed.loads[np.newaxis], len(options), axis=0)
        for heat in own:
            loads[:, heat] = self._loads_with(placed, heat, row)[options]
        found = []
        for choice in _order(loads)[:CHANNELS_A_PILOT]:
            channel = placed.channel.copy()
            channel[row] = options[choice]
            found.append(Placed(channel, placed.seats, loads[choice], _key(loads[choice])))
        return found

    def _loads_with(self, placed: Placed, heat: int, row: int) -> np.ndarray:
        others = np.array([one for one in self.members(placed, heat) if one != row], dtype=np.int64)
        return channel_loads(self.gear, others, placed.channel, row)

    # Seats of those who join

    def _first_seats(self) -> tuple[int, ...]:
        """Any heat with room for every seat."""
        seats: list[int] = []
        for number, seat in enumerate(self.frame.seats):
            free = self._with_room([*seats, *[-1] * (len(self.frame.seats) - number)], number)
            seats.append(free[0] if free else seat.heats[0])
        return tuple(seats)

    def _with_room(self, seats: Sequence[int], number: int) -> list[int]:
        """Heats that a seat may be in beside the other seats as they are."""
        row = self.frame.seats[number].pilot
        found = []
        for heat in self.frame.seats[number].heats:
            beside = [
                seat.pilot
                for other, seat in enumerate(self.frame.seats)
                if other != number and seats[other] == heat
            ]
            is_full = len(self.frame.heats[heat].pilots) + len(beside) >= self.problem.aircraft
            if not is_full and not self.apart[row, beside].any():
                found.append(heat)
        return found

    def _seated(self, placed: Placed, row: int, only: list[int] | None) -> list[Placed]:
        """The best few states for one who joins: every channel, or those given, each with its best heats."""
        mine = self.seats_of[row]
        options = only or np.flatnonzero(self.gear.usable[row]).tolist()
        without = self._placed(
            placed.channel, tuple(-1 if number in mine else heat for number, heat in enumerate(placed.seats))
        )
        places = {number: self._with_room(without.seats, number) or [placed.seats[number]] for number in mine}
        tried = {heat for own in places.values() for heat in own}
        loads = {heat: self._loads_with(without, heat, row) for heat in sorted(tried)}
        found = []
        for f in options:
            seats = self._best_seats(without, places, {heat: float(of[f]) for heat, of in loads.items()})
            after = without.loads.copy()
            for number in mine:
                after[seats[number]] = max(loads[seats[number]][f], 0.0)
            channel = placed.channel.copy()
            channel[row] = f
            found.append(Placed(channel, seats, after, _key(after)))
        return sorted(found, key=lambda one: one.key)[:CHANNELS_A_PILOT]

    def _best_seats(
        self, without: Placed, places: dict[int, list[int]], load: dict[int, float]
    ) -> tuple[int, ...]:
        """In each round a heat that does not lower the worst of the day: rested, the smallest, the best."""
        least = [min(load[heat] for heat in own) for own in places.values()]
        enough = max([without.worst, *least]) * (1.0 + TIE)
        seats = list(without.seats)
        flown = -(self.problem.rest_heats + 1)
        for number, own in places.items():
            good = [heat for heat in own if load[heat] <= enough]
            last = flown

            def worth(heat: int, last: int = last) -> tuple[bool, int, float, int]:
                size = len(self.members(without, heat)) or len(self.down)
                return heat - last <= self.problem.rest_heats, size, load[heat], heat

            seats[number] = min(good, key=worth)
            flown = seats[number]
        return tuple(seats)

    # Scoring

    def _placed(self, channel: np.ndarray, seats: tuple[int, ...]) -> Placed:
        bare = Placed(channel, seats, np.zeros(0), ())
        loads = np.zeros(len(self.frame.heats))
        for heat in range(len(loads)):
            members = self.members(bare, heat)
            if members:
                loads[heat] = heat_load(self.gear, np.array(members, dtype=np.int64), channel)
        return Placed(channel, seats, loads, _key(loads))


def _key(loads: np.ndarray) -> tuple[float, ...]:
    """In dB to a millionth, so that rounding of sums decides nothing."""
    return tuple(_keys(loads[np.newaxis])[0].tolist())


def _order(loads: np.ndarray) -> np.ndarray:
    """(r,) order of the rows of loads (r, H) by their keys, the best first."""
    return np.lexsort(_keys(loads).T[::-1])


def _keys(loads: np.ndarray) -> np.ndarray:
    """(r, 1 + COMPARED) of loads (r, H)."""
    broken = np.floor(loads / BROKEN).sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        in_db = np.round(10.0 * np.log10(-np.sort(-loads, axis=1)[:, :COMPARED]), 6)
    return np.hstack([broken, in_db])
