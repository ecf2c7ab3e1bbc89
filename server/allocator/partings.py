"""How the items of a day can be parted into heats, given the compositions that a heat may have.

Heat by heat, for every number seated of the rarer items, the most that can be seated of the most frequent one. A
heat with room to spare may be filled with fewer than its composition says.
"""

from collections.abc import Sequence

import numpy as np

from server.allocator.compiled import compiled
from server.allocator.compositions import Kinds


@compiled
def _seat(others, crowds, counts, heats, seated, from_state, from_row):
    """Fill seated, from_state and from_row (heats + 1, states), -1 where a state cannot be reached.

    others (r, k), crowds (r,): pilots of the k rarer kinds and of the most frequent one in each composition
    """
    kinds = len(counts)
    states = seated.shape[1]
    digits = np.zeros(kinds, dtype=np.int64)
    seated[:] = -1
    seated[0, 0] = 0
    for heat in range(heats):
        for state in range(states):
            if seated[heat, state] < 0:
                continue
            rest = state
            for kind in range(kinds):
                digits[kind] = rest % (counts[kind] + 1)
                rest //= counts[kind] + 1
            for row in range(len(crowds)):
                after = 0
                stride = 1
                for kind in range(kinds):
                    after += stride * min(counts[kind], digits[kind] + others[row, kind])
                    stride *= counts[kind] + 1
                value = seated[heat, state] + crowds[row]
                if value > seated[heat + 1, after]:
                    seated[heat + 1, after] = value
                    from_state[heat + 1, after] = state
                    from_row[heat + 1, after] = row


def parting_of(
    counts: Sequence[int], others: np.ndarray, crowds: np.ndarray, heats: int
) -> list[list[int]] | None:
    """A composition for each heat so that all pilots have a seat; None where there is no such parting.

    counts    how often each item occurs, the most frequent first
    others    (r, items - 1) compositions that a heat may have without the first item; crowds (r,): that one
    """
    rarer = np.array(counts[1:], dtype=np.int64)
    shape = (heats + 1, int(np.prod(rarer + 1)))
    seated, from_state, from_row = (np.full(shape, -1, dtype=np.int64) for _ in range(3))
    _seat(others, crowds, rarer, heats, seated, from_state, from_row)
    state = shape[1] - 1
    if seated[heats, state] < counts[0]:
        return None
    found = []
    for heat in range(heats, 0, -1):
        row = from_row[heat, state]
        found.append([int(crowds[row]), *others[row].tolist()])
        state = from_state[heat, state]
    return found


def trimmed(parting: Sequence[Sequence[int]], kinds: Kinds, least: int) -> tuple[tuple[int, ...], ...]:
    """The parting with no more of an item than there are; no heat sinks below ``least`` by it."""
    size = kinds.content.sum(axis=1)
    heats = [list(heat) for heat in parting]
    for item, count in enumerate(kinds.counts):
        for _ in range(sum(heat[item] for heat in heats) - count):
            roomy = [
                heat for heat in heats if heat[item] > 0 and int(np.dot(heat, size)) - size[item] >= least
            ]
            if roomy:
                max(roomy, key=lambda heat: (int(np.dot(heat, size)), heat))[item] -= 1
    return tuple(sorted((tuple(heat) for heat in heats), reverse=True))
