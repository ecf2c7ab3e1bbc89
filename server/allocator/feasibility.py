"""Whether the hard rules of a round can hold together, by a search that tries everything.

Margins play no part here: only who may fly with whom, in which heat, and that everybody of a heat can have a
channel at the least spacing.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

NODE_LIMIT = 20_000
FIRST_SHARE = 1_000
"""Nodes after which a search begins anew for the first time."""


class UndecidedError(Exception):
    """The search reached its limit before it knew."""


@dataclass(frozen=True)
class RoundRules:
    """Hard rules of one round. N pilots, H heats.

    choices      channels a pilot may have, MHz ascending; None: any, and never in anybody's way
    allowed      (N, H) bool
    apart, together   (N, N) bool
    capacity     most pilots in a heat
    spacing_mhz  least distance in a heat
    """

    choices: Sequence[tuple[int, ...] | None]
    allowed: np.ndarray
    apart: np.ndarray
    together: np.ndarray
    capacity: int
    spacing_mhz: int


def find_round(rules: RoundRules, node_limit: int = NODE_LIMIT) -> list[int] | None:
    """Heat of every pilot in some round that keeps the rules; None when there is provably none.

    A search that leads nowhere begins anew, each time with a longer breath, and places those first whom it could
    not place before (Boussemart, Hemery, Lecoutre and Sais 2004, "Boosting systematic search by weighting
    constraints"). Raises UndecidedError at the node limit.
    """
    if _is_crowded(rules):
        return None
    search = _RoundSearch(rules)
    share = FIRST_SHARE
    while True:
        try:
            return search.run(min(share, node_limit))
        except UndecidedError:
            node_limit -= share
            if node_limit <= 0:
                raise
            share *= 2


def _is_crowded(rules: RoundRules) -> bool:
    """Whether more pilots have no channel outside some range than all heats together have room for in it."""
    bound = [own for own in rules.choices if own]
    heats = rules.allowed.shape[1]
    for low in {own[0] for own in bound}:
        inside = sorted((own for own in bound if own[0] >= low), key=lambda own: own[-1])
        mhz: set[int] = set()
        for count, own in enumerate(inside, start=1):
            mhz.update(own)
            if count > heats and count > heats * _most_spaced(mhz, rules.spacing_mhz):
                return True
    return False


def _most_spaced(mhz: set[int], spacing_mhz: int) -> float:
    """How many of some channels one heat can hold; any number where there is no spacing."""
    if spacing_mhz <= 0:
        return math.inf
    count, next_mhz = 0, 0
    for one in sorted(mhz):
        if one >= next_mhz:
            count, next_mhz = count + 1, one + spacing_mhz
    return count


def channels_of_round(rules: RoundRules, heat_of: Sequence[int]) -> list[int | None]:
    """A channel for every pilot of a round that `find_round` found; None where any will do."""
    channel: list[int | None] = [None] * len(heat_of)
    for heat in set(heat_of):
        members = [pilot for pilot, own in enumerate(heat_of) if own == heat]
        spaced = spaced_channels([rules.choices[pilot] for pilot in members], rules.spacing_mhz)
        for pilot, mhz in zip(members, spaced or (), strict=True):
            channel[pilot] = mhz
    return channel


def spaced_channels(choices: Sequence[tuple[int, ...] | None], spacing_mhz: int) -> list[int | None] | None:
    """A channel for each pilot of a heat, none closer than the spacing; None when there is no way.

    Channels are handed out from the lowest up. Whoever comes next may as well take the lowest that is far
    enough from the last one, so only the order of the pilots has to be searched.
    """
    waiting = tuple(sorted((own, row) for row, own in enumerate(choices) if own is not None))
    dead: set[tuple[int, tuple[tuple[int, ...], ...]]] = set()
    found: list[int | None] = [None] * len(choices)

    def hand_out(from_mhz: int, waiting: tuple[tuple[tuple[int, ...], int], ...]) -> bool:
        if not waiting:
            return True
        state = (from_mhz, tuple(own for own, _ in waiting))
        if state in dead:
            return False
        tried: set[tuple[int, ...]] = set()
        for place, (own, row) in enumerate(waiting):
            lowest = bisect_left(own, from_mhz)
            if own in tried or lowest == len(own):
                continue
            tried.add(own)
            found[row] = own[lowest]
            if hand_out(own[lowest] + spacing_mhz, (*waiting[:place], *waiting[place + 1 :])):
                return True
        dead.add(state)
        return False

    return found if hand_out(0, waiting) else None


def lasting_channels(
    choices: Sequence[tuple[int, ...]],
    heats: Sequence[Sequence[int]],
    spacing_mhz: int,
    node_limit: int = NODE_LIMIT,
) -> list[int] | None:
    """A channel for each pilot to keep through all given heats (pilots by index); None when there is no way.

    Next the pilot with the fewest channels left. Raises UndecidedError at the node limit.
    """
    others: list[set[int]] = [set() for _ in choices]
    for heat in heats:
        for pilot in heat:
            others[pilot] |= set(heat) - {pilot}
    nodes = [node_limit]
    found: dict[int, int] = {}

    def place(left: dict[int, tuple[int, ...]]) -> bool:
        if not left:
            return True
        pilot = min(left, key=lambda one: (len(left[one]), one))
        for mhz in left[pilot]:
            if nodes[0] <= 0:
                raise UndecidedError
            nodes[0] -= 1
            found[pilot] = mhz
            rest = {
                other: tuple(one for one in own if abs(one - mhz) >= spacing_mhz)
                if other in others[pilot]
                else own
                for other, own in left.items()
                if other != pilot
            }
            if all(rest.values()) and place(rest):
                return True
        return False

    return [found[pilot] for pilot in range(len(choices))] if place(dict(enumerate(choices))) else None


class _RoundSearch:
    """Blocks of pilots who fly together are placed one after the other, next the one with fewest heats left.

    weights  how often a block was left without a heat, in all runs so far
    """

    def __init__(self, rules: RoundRules) -> None:
        self.rules = rules
        self.heats = rules.allowed.shape[1]
        self.blocks = self._blocks()
        self.kinds = self._kinds()
        self.weights = [1] * len(self.blocks)
        self.spaced: dict[tuple[tuple[int, ...], ...], bool] = {}

    def run(self, node_limit: int) -> list[int] | None:
        """Heat of every pilot, None if there is provably none. Raises UndecidedError at the node limit."""
        self.nodes_left = node_limit
        self.members: list[list[int]] = [[] for _ in range(self.heats)]
        self.open = set(range(len(self.blocks)))
        self.fits = [[self._fit(block, heat) for heat in range(self.heats)] for block in self.blocks]
        if not self._place():
            return None
        heat_of = [-1] * len(self.rules.choices)
        for heat, members in enumerate(self.members):
            for pilot in members:
                heat_of[pilot] = heat
        return heat_of

    def _blocks(self) -> list[list[int]]:
        seen: set[int] = set()
        blocks = []
        for pilot in range(len(self.rules.choices)):
            if pilot not in seen:
                block = [pilot, *(int(other) for other in np.flatnonzero(self.rules.together[pilot]))]
                seen.update(block)
                blocks.append(sorted(block))
        return blocks

    def _kinds(self) -> list[tuple[object, ...]]:
        """Blocks of one kind fit wherever another one does: same channels, same heats, nobody to keep from."""
        rules = self.rules
        return [
            (number,)
            if len(block) > 1 or rules.apart[block[0]].any()
            else (rules.choices[block[0]], rules.allowed[block[0]].tobytes())
            for number, block in enumerate(self.blocks)
        ]

    def _place(self) -> bool:
        if not self.open:
            return True
        if not self._has_room():
            return False
        number = min(
            self.open,
            key=lambda one: (sum(self.fits[one]) / self.weights[one], -len(self.blocks[one]), one),
        )
        self.open.remove(number)
        tried: set[tuple[object, ...]] = set()
        for heat in sorted(range(self.heats), key=lambda one: (len(self.members[one]), one)):
            if not self.fits[number][heat]:
                continue
            kind = (tuple(self.members[heat]), self.rules.allowed[:, heat].tobytes())
            if kind in tried:
                continue  # an empty heat like another one
            tried.add(kind)
            if self.nodes_left <= 0:
                raise UndecidedError
            self.nodes_left -= 1
            before = self._add(number, heat)
            if self._place():
                return True
            self._take_back(number, heat, before)
        self.open.add(number)
        return False

    def _add(self, number: int, heat: int) -> dict[int, bool]:
        self.members[heat] += self.blocks[number]
        before = {other: self.fits[other][heat] for other in self.open}
        known: dict[tuple[object, ...], bool] = {}
        for other in self.open:
            kind = self.kinds[other]
            if before[other] and kind not in known:
                known[kind] = self._fit(self.blocks[other], heat)
            self.fits[other][heat] = before[other] and known[kind]
            if before[other] and not any(self.fits[other]):
                self.weights[other] += 1
        return before

    def _take_back(self, number: int, heat: int, before: dict[int, bool]) -> None:
        del self.members[heat][-len(self.blocks[number]) :]
        for other, fit in before.items():
            self.fits[other][heat] = fit

    def _has_room(self) -> bool:
        """Whether everybody still open could have a place of their own among the heats that fit them."""
        places: list[list[int]] = [[] for _ in range(self.heats)]
        room = [self.rules.capacity - len(members) for members in self.members]

        def seat(number: int, seen: set[int]) -> bool:
            for heat in range(self.heats):
                if not self.fits[number][heat] or heat in seen:
                    continue
                seen.add(heat)
                if len(places[heat]) < room[heat]:
                    places[heat].append(number)
                    return True
                for place, other in enumerate(places[heat]):
                    if seat(other, seen):
                        places[heat][place] = number
                        return True
            return False

        return all(seat(number, set()) for number in sorted(self.open))

    def _fit(self, block: list[int], heat: int) -> bool:
        rules = self.rules
        members = [*self.members[heat], *block]
        return (
            len(members) <= rules.capacity
            and bool(rules.allowed[block, heat].all())
            and not rules.apart[np.ix_(members, members)].any()
            and self._is_spaced(members)
        )

    def _is_spaced(self, members: list[int]) -> bool:
        own = tuple(
            sorted(choices for pilot in members if (choices := self.rules.choices[pilot]) is not None)
        )
        if own not in self.spaced:
            self.spaced[own] = spaced_channels(own, self.rules.spacing_mhz) is not None
        return self.spaced[own]
