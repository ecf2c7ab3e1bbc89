"""What no plan of the day can beat.

A round parts its pilots into H heats of at least ``least`` and at most ``most``. Sorted into kinds
(``compositions``), each heat has a composition, and its worst margin is no better than the ceiling of that
composition. So the worst margin of the round is no better than the largest T for which the kinds can be parted
into H compositions of ceiling T or more. This holds every argument by counting: some heat holds at least the H-th
part of a kind, louder transmitters must fly somewhere and are heard there, and gathering them in one heat leaves
the other heats fuller.

Ceilings begin at the floor of the protection ratio and are lowered where it matters: the compositions of the best
parting are searched exactly, one at a time, until all compositions of the best parting have been.
"""

from dataclasses import dataclass, replace

import numpy as np

from server.allocator.compositions import Kinds, ceilings_db, heat_gear, kinds_by_channels, kinds_by_radiation
from server.allocator.heat import KeepGoing, best_worst_margin
from server.allocator.kernel import Gear
from server.allocator.partings import parting_of, trimmed
from server.allocator.problem import DayProblem
from server.allocator.schedule import Frame, heat_sizes, pairs, takes_part

RADIATION_STATES, CHANNEL_STATES = 10_000, 1_000
"""Most states that a parting of each sort may have: some milliseconds each time it is looked for."""

PARTING_NODES = 2_000
"""Search nodes for which another parting stands in the budget."""

BOUND_NODES = 120_000
"""Search nodes of all compositions of a parting together."""

EQUAL_NODES, MIXED_NODES = 100_000, 10_000
"""Search nodes of a composition of one kind, whose pilots are interchangeable, and of any other."""

SAME_DB = 0.005
"""A bound that near to what was found is not worth another search."""


@dataclass(frozen=True)
class Sizes:
    """A round of ``heats`` heats of at least ``least`` and at most ``most`` pilots."""

    heats: int
    least: int
    most: int


class PartingBound:
    """The best that any parting of the kinds into heats allows, lowered step by step.

    margin_db     upper bound so far; infinite where everybody can fly alone, -infinite where nothing can be parted
    parting       compositions (tuples, a number for each kind) of one round that has no heat below the bound
    nodes         search nodes used
    """

    def __init__(self, kinds: Kinds, sizes: Sizes, seed: int, keep_going: KeepGoing | None) -> None:
        self.kinds = kinds
        self.sizes = sizes
        self.seed = seed
        self.keep_going = keep_going
        self.nodes = 0
        self.crowd = kinds.counts[0]
        self.others = self._numbers_of_others()
        self.seats = self.others @ kinds.content[1:].sum(axis=1)
        self.above = self._one_more()
        self.ceilings = self._floor_ceilings()
        self.searched = np.zeros(self.ceilings.shape, dtype=np.bool_)
        self.margin_db = np.inf
        self.margin_db, self.parting = self._best_parting()

    def _numbers_of_others(self) -> np.ndarray:
        """(c, items - 1) how many of each item but the first can share a heat."""
        size = self.kinds.content.sum(axis=1).tolist()
        rows: list[tuple[int, ...]] = [()]
        for item, count in enumerate(self.kinds.counts[1:], start=1):
            rivals = [one for one, other in self.kinds.never if other == item and one > 0]
            rows = [
                (*row, number)
                for row in rows
                for number in range(count + 1)
                if sum(n * s for n, s in zip((*row, number), size[1:], strict=False)) <= self.sizes.most
                and not (number and any(row[rival - 1] for rival in rivals))
            ]
        return np.array(rows, dtype=np.int64).reshape(len(rows), len(self.kinds.counts) - 1)

    def _pilots(self, crowd: int, rows: np.ndarray) -> np.ndarray:
        """(r, kinds) pilots of each kind in some compositions."""
        return crowd * self.kinds.content[0] + self.others[rows] @ self.kinds.content[1:]

    def _floor_ceilings(self) -> np.ndarray:
        """(c, most + 1) ceiling of each composition: a row of others with 0, 1, ... of the most frequent kind."""
        ceilings = np.full((len(self.others), self.sizes.most + 1), -np.inf)
        for crowd in range(min(self.sizes.most, self.crowd) + 1):
            rows = np.flatnonzero(self.seats + crowd <= self.sizes.most)
            ceilings[rows, crowd] = ceilings_db(self.kinds.gear, self._pilots(crowd, rows))
        return ceilings

    def lower(self, enough_db: float, node_limit: int) -> None:
        """Search compositions exactly until the bound is proved, near ``enough_db``, or the nodes are used up."""
        left = node_limit
        while left > 0 and self.margin_db > enough_db + SAME_DB and np.isfinite(self.margin_db):
            open_ones = [(self._ceiling(one), one) for one in set(self.parting) if not self._is_searched(one)]
            if not open_ones or not np.isfinite(min(open_ones)[0]):
                return
            left -= self._search(min(open_ones)[1], left) + PARTING_NODES
            self.margin_db, self.parting = self._best_parting()

    def _row(self, composition: tuple[int, ...]) -> int:
        return int(np.flatnonzero((self.others == np.array(composition[1:])).all(axis=1))[0])

    def _ceiling(self, composition: tuple[int, ...]) -> float:
        return float(self.ceilings[self._row(composition), composition[0]])

    def _is_searched(self, composition: tuple[int, ...]) -> bool:
        return bool(self.searched[self._row(composition), composition[0]])

    def _search(self, composition: tuple[int, ...], node_limit: int) -> int:
        """Lower the ceiling of a composition, and of all that hold it, to what it can reach; nodes used."""
        row, crowd = self._row(composition), composition[0]
        self.searched[row, crowd] = True
        pilots = self._pilots(crowd, np.array([row]))[0]
        most_nodes = min(node_limit, EQUAL_NODES if np.count_nonzero(pilots) == 1 else MIXED_NODES)
        answer = best_worst_margin(heat_gear(self.kinds, pilots), most_nodes, self.seed, self.keep_going)
        holds = (self.others >= self.others[row]).all(axis=1)
        part = self.ceilings[holds, crowd:]
        self.ceilings[holds, crowd:] = np.minimum(part, answer.best_margin_db)
        self.nodes += answer.nodes
        return answer.nodes

    def _best_parting(self) -> tuple[float, tuple[tuple[int, ...], ...]]:
        """Largest T up to the bound whose compositions part the pilots, by halving over all ceilings."""
        same = self._parting(self.margin_db)
        if same is not None:
            return self.margin_db, same
        values = np.unique(self.ceilings[(self.ceilings > -np.inf) & (self.ceilings < self.margin_db)])
        low, high = 0, len(values) - 1
        best: tuple[float, tuple[tuple[int, ...], ...]] = (-np.inf, ())
        while low <= high:
            middle = (low + high) // 2
            parting = self._parting(values[middle])
            if parting is None:
                high = middle - 1
            else:
                best = (float(values[middle]), parting)
                low = middle + 1
        return best

    def _parting(self, margin_db: float) -> tuple[tuple[int, ...], ...] | None:
        """Compositions of ceiling ``margin_db`` or more that part the pilots into the heats, or None."""
        crowds = (self.ceilings >= margin_db).sum(axis=1) - 1
        # Ceilings fall as a heat fills. A composition that can take one more for nothing is never needed.
        more = np.where(self.above >= 0, crowds[self.above], -1).max(axis=1, initial=-1)
        is_large = crowds + self.seats >= self.sizes.least
        rows = np.flatnonzero((crowds >= 0) & (more < crowds) & is_large)
        parting = parting_of(self.kinds.counts, self.others[rows], crowds[rows], self.sizes.heats)
        return None if parting is None else trimmed(parting, self.kinds, self.sizes.least)

    def _one_more(self) -> np.ndarray:
        """(c, items - 1) row of the composition with one more of each of the rarer items, -1 if none."""
        row_of = {tuple(others): row for row, others in enumerate(self.others.tolist())}
        above = np.empty(self.others.shape, dtype=np.int64)
        for others, row in row_of.items():
            for kind in range(len(others)):
                fuller = (*others[:kind], others[kind] + 1, *others[kind + 1 :])
                above[row, kind] = row_of.get(fuller, -1)
        return above


class DayBound:
    """What no plan of a day can beat: of each round, the lower of two partings.

    One parts all pilots by what they radiate, the other the most frequent of those by the channels they can use.
    ``is_fair``: over plans whose heats are as equal in size as `heat_sizes` says. Otherwise no heat holds more
    than may fly at once, nor fewer than the others leave over.
    """

    def __init__(
        self,
        problem: DayProblem,
        gear: Gear,
        frame: Frame,
        keep_going: KeepGoing | None,
        is_fair: bool = True,
    ) -> None:
        present = {
            tuple(np.flatnonzero(takes_part(problem, frame, number)).tolist())
            for number in range(1, problem.rounds + 1)
        }
        together, never = pairs(problem, "together"), pairs(problem, "apart")
        most = len(problem.pilots) if problem.one_heat else problem.aircraft
        self._arguments: list[PartingBound] = []
        for there in sorted(present, key=lambda there: (-len(there), there)):
            sizes = _sizes(frame, len(there), len(problem.pilots), most, is_fair)
            for kinds in (
                kinds_by_radiation(gear, there, together, never, RADIATION_STATES),
                kinds_by_channels(gear, there, CHANNEL_STATES),
            ):
                left_out = int((kinds.item_of[list(there)] < 0).sum())
                self._arguments.append(
                    PartingBound(kinds, _without(sizes, left_out), problem.seed, keep_going)
                )

    @property
    def margin_db(self) -> float:
        """The bound so far; infinite where everybody can fly alone."""
        return min(argument.margin_db for argument in self._arguments)

    @property
    def parting(self) -> tuple[tuple[int, ...], ...]:
        """Compositions of the fullest round by the items in ``kinds``, none of them worse than its bound."""
        return self._arguments[0].parting

    @property
    def parting_db(self) -> float:
        """The bound of that parting."""
        return self._arguments[0].margin_db

    @property
    def kinds(self) -> Kinds:
        """Kinds and items of which the compositions are made."""
        return self._arguments[0].kinds

    def lower(self, enough_db: float) -> None:
        """Search on until the bound is proved, is near ``enough_db``, or a share of nodes is used up."""
        for argument in sorted(self._arguments, key=lambda one: one.margin_db):
            argument.lower(enough_db, BOUND_NODES - argument.nodes)


def _sizes(frame: Frame, present: int, everybody: int, most: int, is_fair: bool) -> Sizes:
    """Fewest and most of so many pilots that a heat can hold."""
    if is_fair:
        return Sizes(frame.heats, *heat_sizes(frame, present, everybody))
    return Sizes(frame.heats, max(0, present - (frame.heats - 1) * most), most)


def _without(sizes: Sizes, left_out: int) -> Sizes:
    """The same where so many pilots are not counted, who may all be in one heat."""
    return replace(sizes, least=max(0, sizes.least - left_out))
