"""One heat, exactly: the six stages of the order of preference.

1. the best worst margin W*; 2. within the indifference of it, the best stressed worst margin; 3. within the
indifference of that, the fewest changes; 4. the fewest channels outside the day's set; 5. the widest
minimum spacing; 6. the best list of margins from the worst up, then the lowest frequencies.

Stages 3 to 6 are one search over a key compared from left to right. Every search goes on until it has
visited or excluded everything, or until the node budget is used up; then the answer says so.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from server.allocator.descent import BROKEN, descend
from server.allocator.kernel import CHOICE, STRESSED, TIE, WORST, Gear, heat_loads
from server.allocator.scoring import load_of_margin_db, margin_of_load_db
from server.allocator.search import root_bound, search
from server.allocator.splitting import search_side_by_side, share_answer, split
from server.allocator.stack import Stack, new_stack
from server.allocator.sums import new_sums
from server.wording import marked

CHUNK_NODES = 500
"""Nodes between two looks at cancel and clock; well below 50 ms on a small laptop."""

STARTS, KICKS_A_PILOT, KICKED = 8, 2, 2
"""Descents from random starts; then, for each pilot of a heat, from the best end with so many moved at random."""

ALONE_NODES = 500
"""Nodes after which a search goes on in two threads: shorter ones end sooner than a thread begins."""

KeepGoing = Callable[[str, int, float | None], bool]
"""Told stage, nodes so far and the best margin in dB so far; False stops the search."""


@dataclass(frozen=True)
class HeatAnswer:
    """The channels of a heat.

    mhz               one a pilot; empty where the hard rules leave no assignment
    worst_margin_db, stressed_margin_db   of this answer; infinite for a pilot alone
    best_margin_db    W*, or the bound that is left where the search was stopped
    is_best_proved    stage 1 was searched to the end
    is_stress_proved  so was stage 2
    is_exact          so were all six
    """

    mhz: tuple[int, ...]
    worst_margin_db: float
    stressed_margin_db: float
    best_margin_db: float
    is_best_proved: bool
    is_stress_proved: bool
    is_exact: bool
    nodes: int


def best_channels(
    gear: Gear,
    indifference_db: float = 0.5,
    node_limit: int = 20_000_000,
    seed: int = 1,
    keep_going: KeepGoing | None = None,
) -> HeatAnswer:
    """The best channels for all pilots of ``gear`` by the six stages.

    Exact and the same on every machine while the three searches together need at most ``node_limit`` nodes;
    ``seed`` only moves where the first answers are looked for, never the result of a finished search.
    """
    if not gear.usable.any(axis=1).all():
        return _nothing(0)
    return _HeatSearch(gear, indifference_db, node_limit, seed, keep_going).run()


def best_worst_margin(
    gear: Gear, node_limit: int = 20_000_000, seed: int = 1, keep_going: KeepGoing | None = None
) -> HeatAnswer:
    """Stage 1 alone: a set of channels with the best worst margin."""
    if not gear.usable.any(axis=1).all():
        return _nothing(0)
    return _HeatSearch(gear, 0.0, node_limit, seed, keep_going).run_first_stage()


def _nothing(nodes: int) -> HeatAnswer:
    return HeatAnswer((), -np.inf, -np.inf, -np.inf, True, True, True, nodes)


class _HeatSearch:
    """The three searches one after the other, sharing one node budget."""

    def __init__(
        self, gear: Gear, indifference_db: float, node_limit: int, seed: int, keep_going: KeepGoing | None
    ) -> None:
        self.gear = gear
        self.slack = load_of_margin_db(-indifference_db) * (1.0 + TIE)
        self.nodes_left = node_limit
        self.nodes = 0
        self.random = np.random.default_rng(seed)
        self.keep_going = keep_going or (lambda _stage, _nodes, _margin: True)

    def run_first_stage(self) -> HeatAnswer:
        worst, ended = self._search(marked("best worst margin"), WORST, np.inf, np.inf, self._starts())
        if worst is None:
            return self._without_answer(ended)
        return self._answer(worst, ended, is_stress_proved=False, is_exact=False)

    def run(self) -> HeatAnswer:
        worst, ended = self._search(marked("best worst margin"), WORST, np.inf, np.inf, self._starts())
        if worst is None:
            return self._without_answer(ended)
        first = self._answer(worst, ended, is_stress_proved=False, is_exact=False)
        if not ended:
            return first
        limit = max(self._loads(worst)) * self.slack
        stressed, ended = self._search(
            marked("stressed margin"), STRESSED, limit, np.inf, np.vstack([worst, self._starts(STARTS // 2)])
        )
        if not ended:
            in_hand = worst if stressed is None else stressed
            return self._answer(in_hand, True, False, False, first.best_margin_db)
        assert stressed is not None  # the answer of stage 1 is one of stage 2
        stressed_limit = max(self._loads(stressed, is_stressed=True)) * self.slack
        chosen, ended = self._search(
            marked("choice among equals"), CHOICE, limit, stressed_limit, stressed[np.newaxis]
        )
        if not ended and chosen is None:
            return self._answer(stressed, True, True, False, first.best_margin_db)
        assert chosen is not None  # the answer of stage 2 is one of stage 3
        return self._answer(_in_roster_order(self.gear, chosen), True, True, ended, first.best_margin_db)

    def _starts(self, count: int = STARTS) -> np.ndarray:
        rows = [self.random.choice(np.flatnonzero(own), size=count) for own in self.gear.usable]
        return np.array(rows, dtype=np.int64).T.copy()

    def _search(
        self, stage: str, goal: int, limit: float, stressed_limit: float, starts: np.ndarray
    ) -> tuple[np.ndarray | None, bool]:
        """Best channels by index, None where there are none, and whether the search came to its end."""
        stack = new_stack(self.gear)
        self._seed(stage, stack, goal, limit, starts)
        limits = (limit, stressed_limit)
        ended = self._go_on(stage, stack, goal, limits, np.inf if goal == CHOICE else ALONE_NODES)
        if not ended and self.nodes_left > 0:
            ended = self._go_on_in_two(stage, stack, goal, limits)
        return (stack.best.copy() if stack.value[1] else None), ended

    def _go_on(
        self, stage: str, stack: Stack, goal: int, limits: tuple[float, float], most_nodes: float
    ) -> bool:
        ended = False
        while not ended and self.nodes_left > 0 and stack.nodes[0] < most_nodes:
            before = int(stack.nodes[0])
            ended = search(self.gear, stack, goal, *limits, min(CHUNK_NODES, self.nodes_left))
            self._count(stage, int(stack.nodes[0]) - before, stack)
        return ended

    def _go_on_in_two(self, stage: str, stack: Stack, goal: int, limits: tuple[float, float]) -> bool:
        """The rest of a long search in two threads; who ends first takes half of what the other has left."""
        stacks = [stack]
        with ThreadPoolExecutor(1) as threads:
            while stacks and self.nodes_left > 0:
                other = split(stacks[0]) if len(stacks) == 1 else None
                stacks += [other] if other is not None else []
                before = sum(int(one.nodes[0]) for one in stacks)
                most_nodes = max(1, min(CHUNK_NODES, self.nodes_left // len(stacks)))
                have_ended = search_side_by_side(threads, self.gear, stacks, goal, limits, most_nodes)
                share_answer(stack, stacks[0])
                self._count(stage, sum(int(one.nodes[0]) for one in stacks) - before, stack)
                stacks = [one for one, has_ended in zip(stacks, have_ended, strict=True) if not has_ended]
        return not stacks

    def _count(self, stage: str, nodes: int, stack: Stack) -> None:
        self.nodes += nodes
        self.nodes_left -= nodes
        if not self.keep_going(stage, self.nodes, self._margin_so_far(stack)):
            self.nodes_left = 0

    def _seed(self, stage: str, stack: Stack, goal: int, limit: float, starts: np.ndarray) -> None:
        """Give the search a first answer, which prunes most of its tree."""
        if goal == CHOICE:
            return
        sums = new_sums(self.gear)
        count = len(self.gear.sense)
        for number in range(len(starts) + KICKS_A_PILOT * count):
            if number < len(starts):
                channel = starts[number]
            elif stack.value[1] and count > KICKED:
                channel = self._kicked(stack.best)
            else:
                return
            value = descend(self.gear, stack.rows, sums, channel, goal, limit)
            # A hair above the value, so that the search itself reaches the answer it then proves.
            value *= 1.0 + 2.0 * TIE
            if value < min(BROKEN, stack.value[0]):
                stack.value[0] = value
                stack.value[1] = 1.0
                stack.best[:] = channel
            if not self.keep_going(stage, self.nodes, self._margin_so_far(stack)):
                self.nodes_left = 0
            if self.nodes_left <= 0:
                return

    def _kicked(self, channel: np.ndarray) -> np.ndarray:
        kicked = channel.copy()
        for pilot in self.random.choice(len(channel), KICKED, replace=False):
            kicked[pilot] = self.random.choice(np.flatnonzero(self.gear.usable[pilot]))
        return kicked

    def _margin_so_far(self, stack: Stack) -> float | None:
        return float(margin_of_load_db(max(self._loads(stack.best)))) if stack.value[1] else None

    def _loads(self, channel: np.ndarray, is_stressed: bool = False) -> np.ndarray:
        count = len(channel)
        load, stressed = np.empty(count), np.empty(count)
        heat_loads(self.gear, np.arange(count), self.gear.mhz[channel], load, stressed)
        return stressed if is_stressed else load

    def _without_answer(self, ended: bool) -> HeatAnswer:
        if ended:
            return _nothing(self.nodes)
        return HeatAnswer((), -np.inf, -np.inf, self._root_bound_db(), False, False, False, self.nodes)

    def _answer(
        self,
        channel: np.ndarray,
        is_best_proved: bool,
        is_stress_proved: bool,
        is_exact: bool,
        best_margin_db: float | None = None,
    ) -> HeatAnswer:
        worst_db = float(margin_of_load_db(max(self._loads(channel))))
        if best_margin_db is None:
            best_margin_db = worst_db if is_best_proved else self._root_bound_db()
        return HeatAnswer(
            tuple(int(mhz) for mhz in self.gear.mhz[channel]),
            worst_db,
            float(margin_of_load_db(max(self._loads(channel, is_stressed=True)))),
            best_margin_db,
            is_best_proved,
            is_stress_proved,
            is_exact,
            self.nodes,
        )

    def _root_bound_db(self) -> float:
        """What no assignment can beat, before anything is placed."""
        stack = new_stack(self.gear)
        return float(margin_of_load_db(root_bound(self.gear, stack)))


def _in_roster_order(gear: Gear, channel: np.ndarray) -> np.ndarray:
    """Among pilots of equal gear, the lowest channels to the first in the roster, with no change more.

    The search treats such pilots as one; this settles who gets what, the same every time.
    """
    settled = channel.copy()
    for kind in sorted(set(gear.alike.tolist())):
        members = [pilot for pilot in range(len(channel)) if gear.alike[pilot] == kind]
        pool = sorted(int(channel[pilot]) for pilot in members)
        order = _lowest_first(gear, members, pool, _changes(gear, members, channel[members].tolist()))
        settled[members] = order
    return settled


def _changes(gear: Gear, members: Sequence[int], channel: Sequence[int]) -> int:
    return sum(
        int(gear.current[pilot] >= 0 and gear.current[pilot] != f)
        for pilot, f in zip(members, channel, strict=True)
    )


def _lowest_first(gear: Gear, members: Sequence[int], pool: Sequence[int], changes: int) -> list[int]:
    """Lexicographically first way to hand the pool to the members with at most so many changes."""
    if not members:
        return []
    pilot = members[0]
    for place, f in enumerate(pool):
        cost = _changes(gear, [pilot], [f])
        if not gear.usable[pilot, f] or cost > changes:
            continue
        rest = [*pool[:place], *pool[place + 1 :]]
        if not _can_hand_out(gear, members[1:], rest, changes - cost):
            continue
        return [f, *_lowest_first(gear, members[1:], rest, changes - cost)]
    raise AssertionError("the assignment that was found is one way to hand the pool out")


def _can_hand_out(gear: Gear, members: Sequence[int], pool: Sequence[int], changes: int) -> bool:
    if not members:
        return True
    pilot = members[0]
    return any(
        gear.usable[pilot, f]
        and (cost := _changes(gear, [pilot], [f])) <= changes
        and _can_hand_out(gear, members[1:], [*pool[:place], *pool[place + 1 :]], changes - cost)
        for place, f in enumerate(pool)
    )
