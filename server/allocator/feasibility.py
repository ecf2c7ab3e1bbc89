"""Whether the hard rules of a round can hold together, by a search that tries everything.

Margins play no part here: only who may fly with whom, in which heat, and that everybody of a heat can have a
channel at the least spacing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

NODE_LIMIT = 20_000


class UndecidedError(Exception):
    """The search reached its limit before it knew."""


@dataclass(frozen=True)
class RoundRules:
    """Hard rules of one round. N pilots, H heats.

    choices      channels a pilot may have, MHz; None: any, and never in anybody's way
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

    Raises UndecidedError at the node limit.
    """
    return _RoundSearch(rules, node_limit).run()


def spaced_channels(choices: Sequence[tuple[int, ...] | None], spacing_mhz: int) -> list[int | None] | None:
    """A channel for each pilot of a heat, none closer than the spacing; None when there is no way."""
    order = sorted((len(own), row) for row, own in enumerate(choices) if own is not None)
    found: list[int | None] = [None] * len(choices)

    def place(position: int, held: tuple[int, ...]) -> bool:
        if position == len(order):
            return True
        row = order[position][1]
        for mhz in choices[row] or ():
            if all(abs(mhz - other) >= spacing_mhz for other in held):
                found[row] = mhz
                if place(position + 1, (*held, mhz)):
                    return True
        return False

    return found if place(0, ()) else None


class _RoundSearch:
    """Blocks of pilots who fly together are placed one after the other, the most bound first."""

    def __init__(self, rules: RoundRules, node_limit: int) -> None:
        self.rules = rules
        self.nodes_left = node_limit
        self.heats = rules.allowed.shape[1]
        self.heat_of = [-1] * len(rules.choices)
        self.blocks = self._blocks()

    def run(self) -> list[int] | None:
        return self.heat_of if self._place(0) else None

    def _blocks(self) -> list[list[int]]:
        seen: set[int] = set()
        blocks = []
        for pilot in range(len(self.rules.choices)):
            if pilot not in seen:
                block = [pilot, *(int(other) for other in np.flatnonzero(self.rules.together[pilot]))]
                seen.update(block)
                blocks.append(sorted(block))
        return sorted(blocks, key=self._freedom)

    def _freedom(self, block: list[int]) -> tuple[int, int, int]:
        heats = int(self.rules.allowed[block].all(axis=0).sum())
        narrowest = min(
            len(own) if (own := self.rules.choices[pilot]) is not None else 999 for pilot in block
        )
        return (heats, -len(block), narrowest)

    def _place(self, position: int) -> bool:
        if position == len(self.blocks):
            return True
        block = self.blocks[position]
        tried: set[tuple[object, ...]] = set()
        for heat in sorted(range(self.heats), key=lambda one: (len(self._members(one)), one)):
            kind = (tuple(self._members(heat)), self.rules.allowed[:, heat].tobytes())
            if kind in tried:
                continue  # an empty heat like another one
            tried.add(kind)
            if self.nodes_left <= 0:
                raise UndecidedError
            self.nodes_left -= 1
            if not self._fits(block, heat):
                continue
            for pilot in block:
                self.heat_of[pilot] = heat
            if self._place(position + 1):
                return True
            for pilot in block:
                self.heat_of[pilot] = -1
        return False

    def _members(self, heat: int) -> list[int]:
        return [pilot for pilot, own in enumerate(self.heat_of) if own == heat]

    def _fits(self, block: list[int], heat: int) -> bool:
        rules = self.rules
        members = [*self._members(heat), *block]
        return (
            len(members) <= rules.capacity
            and bool(rules.allowed[block, heat].all())
            and not rules.apart[np.ix_(members, members)].any()
            and spaced_channels([rules.choices[pilot] for pilot in members], rules.spacing_mhz) is not None
        )
