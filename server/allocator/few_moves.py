"""The best that a heat can have when only so many of its pilots are set to another channel: exact.

Every set of pilots who may move is tried, all others keep their channel. Within a set the search goes depth
first over the channels; adding a transmitter can only lower margins, so what is placed bounds what is to come,
and only what beats the best so far is followed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from server.allocator.heat import KeepGoing, best_worst_margin
from server.allocator.kernel import Gear
from server.allocator.moves_core import BROKEN, TIE, heat_load, improve_free
from server.allocator.scoring import gear_of, load_of_margin_db
from server.wording import marked

STAGE = marked("few moves")

MOST_FREE = 4
"""With more pilots free to choose the search of a whole heat is the faster one."""


@dataclass(frozen=True)
class FewMoves:
    """channel (n,): by index, None where none is good enough; load: the largest; is_exact: nothing is below it."""

    channel: np.ndarray | None
    load: float
    is_exact: bool


class HeatMoves:
    """One heat and its best channels with 0, 1, 2, ... pilots moved; every answer is kept.

    gear   of the heat's members
    stay   (n,) index of the channel that a pilot keeps, -1: must choose one
    is_set (n,) bool: choosing another one than `stay` is a move
    """

    def __init__(
        self, gear: Gear, stay: np.ndarray, is_set: np.ndarray, node_limit: int, keep_going: KeepGoing
    ) -> None:
        self.gear = gear
        self.stay = stay
        self.node_limit = node_limit
        self.keep_going = keep_going
        choosing = np.flatnonzero(stay < 0)
        self.choosing = choosing.tolist()
        self.staying = np.flatnonzero(stay >= 0).tolist()
        # A transmitter that is down stays where it is.
        self.movable = np.flatnonzero((stay >= 0) & is_set).tolist()
        self.forced = int(is_set[choosing].sum())
        self._found: dict[int, FewMoves] = {}
        self._least_load: float | None = None

    def least_load(self) -> float:
        """Load that no channels beat, however many move."""
        if self._least_load is None:
            answer = best_worst_margin(self.gear, self.node_limit, keep_going=self.keep_going)
            self._least_load = load_of_margin_db(answer.best_margin_db)
        return self._least_load

    def best(self, moved: int, most_tried: int, limit: float = np.inf) -> FewMoves:
        """The best with at most so many moved; exact while no more than ``most_tried`` move who need not.

        limit  what is no better is of no interest: without channels the load is then a bound. A limit asked for
               later of the same heat must be no higher
        """
        extra = min(moved - self.forced, len(self.movable))
        if extra < 0:
            return FewMoves(None, limit, True)
        if extra not in self._found:
            fewer = self.forced + extra - 1
            before = self.best(fewer, most_tried, limit) if extra else FewMoves(None, limit, True)
            self._found[extra] = self._try_sets(extra, before, most_tried, limit)
        return self._found[extra]

    def _try_sets(self, extra: int, before: FewMoves, most_tried: int, limit: float) -> FewMoves:
        if not before.is_exact or extra > most_tried:
            return FewMoves(before.channel, before.load, False)
        load, channel = (before.load, before.channel) if before.load <= limit else (limit, None)
        is_exact = True
        for chosen in combinations(self.movable, extra):
            free = [*self.choosing, *chosen]
            pinned = [row for row in self.staying if row not in chosen]
            found, found_load, is_searched = self._search(pinned, free, load)
            is_exact = is_exact and is_searched
            if found is not None:
                load, channel = found_load, found
            if not self.keep_going(STAGE, extra, None):
                return FewMoves(channel, load, False)
        return FewMoves(channel, load, is_exact)

    def _search(
        self, pinned: Sequence[int], free: Sequence[int], limit: float
    ) -> tuple[np.ndarray | None, float, bool]:
        channel = np.where(self.stay >= 0, self.stay, 0)
        keepers = np.array(pinned, dtype=np.int64)
        # Whoever joins those who keep their channel can only make it worse for them.
        held = heat_load(self.gear, keepers, channel)
        if held >= min(limit, BROKEN):
            return None, limit, True
        if not free:
            return channel, held, True
        if len(free) > MOST_FREE:
            return self._search_heat(pinned, limit)
        by_choice = sorted(free, key=lambda row: (int(self.gear.usable[row].sum()), row))
        best = channel.copy()
        load = improve_free(
            self.gear, keepers, np.array(by_choice, dtype=np.int64), channel, min(limit, BROKEN), best
        )
        return (best, load, True) if load < min(limit, BROKEN) else (None, limit, True)

    def _search_heat(self, pinned: Sequence[int], limit: float) -> tuple[np.ndarray | None, float, bool]:
        usable = self.gear.usable.copy()
        for row in pinned:
            usable[row] = False
            usable[row, self.stay[row]] = True
        gear = self.gear._replace(usable=usable)
        answer = best_worst_margin(gear, self.node_limit, keep_going=self.keep_going)
        if not answer.mhz:
            return None, limit, answer.is_best_proved
        channel = np.searchsorted(self.gear.mhz, answer.mhz)
        load = heat_load(gear, np.arange(len(channel)), channel)
        is_better = load < limit * (1.0 - TIE)
        return (channel if is_better else None), min(load, limit), answer.is_best_proved


def heat_moves(
    gear: Gear,
    members: Sequence[int],
    stay: np.ndarray,
    is_set: np.ndarray,
    node_limit: int,
    keep_going: KeepGoing,
) -> HeatMoves:
    """The same for some of the pilots of a day, by index."""
    rows = np.array(members, dtype=np.int64)
    return HeatMoves(gear_of(gear, members), stay[rows], is_set[rows], node_limit, keep_going)
