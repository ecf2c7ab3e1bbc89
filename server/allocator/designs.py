"""Rounds in which nobody meets anybody twice.

A round of H heats with k places each is a table of H x k pilots. Turned by the shift s, the pilot of heat h and
place p flies in heat h + s p, reckoned in the field of H elements (``galois``). Two pilots of one place never
share a heat. Two of places p and q from heats h and g share one where h - g = s (q - p), so for a single s: H
rounds, one for each s, without a repeated pairing, for up to H places. That is a resolvable transversal design
TD(k, H) made from orthogonal Latin squares (Colbourn and Dinitz, Handbook of Combinatorial Designs, III.3). Where
H is no prime power, the smallest prime power in it is how many places and rounds are surely free of repeats
(MacNeish 1922).
"""

import numpy as np

from server.allocator.galois import ring


def turned(heat_of: np.ndarray, place: np.ndarray, heats: int, turn: int) -> np.ndarray:
    """Heats (N,) of a first round turned for round number ``turn`` after it, from 1; -1 stays.

    place   (N,) place of each pilot in the heat, from 0
    """
    numbers = ring(heats)
    # Elements that differ by what can be divided by come first, for places and for turns.
    others = [number for number in range(heats) if number not in set(numbers.diagonal)]
    order = np.array([*numbers.diagonal, *others], dtype=np.int64)
    moved = numbers.times[order[turn % heats], order[place % heats]]
    return np.where(heat_of < 0, -1, numbers.plus[np.maximum(heat_of, 0), moved])


def places_by_rank(heat_of: np.ndarray, channel: np.ndarray, count: int) -> np.ndarray:
    """(N,) place of each pilot: where the own channel stands among the channels of the heat, from the lowest.

    count   places in the largest heat; pilots of smaller heats are spread over all of them
    """
    place = np.zeros(len(heat_of), dtype=np.int64)
    for heat in np.unique(heat_of[heat_of >= 0]):
        members = np.flatnonzero(heat_of == heat)
        order = members[np.lexsort((members, channel[members]))]
        place[order] = np.arange(len(order)) * count // len(order)
    return place


def places_by_channel(channel: np.ndarray) -> np.ndarray:
    """(N,) place of each pilot: where the own channel stands among all channels of the day."""
    return np.searchsorted(np.unique(channel), channel).astype(np.int64)
