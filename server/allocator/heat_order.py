"""The order of the heats of a round: who flies with whom is settled, when is not.

To fly the same heats in another order changes no margin and no pairing, so it is what rest and waiting are
mended with. *Waiting* is the number of heats from one flight of a pilot to the next; with H heats a round it is H
on average whatever the order, so it is evened out where the sum of its squares is least.
"""

import numpy as np

FORBIDDEN = 1e9
"""Cost of a heat at a place where one of its pilots may not fly; above any sum of squares."""


def reordered(heat_of: np.ndarray, before: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """The same heats (N,) in the order that evens waiting out most, everybody where they may fly if that can be.

    before    (N,) heats of the round before, -1 for who did not fly
    allowed   (N, H) bool
    """
    heats = allowed.shape[1]
    places = np.arange(heats)
    cost = np.zeros((heats, heats))
    for heat in range(heats):
        members = np.flatnonzero(heat_of == heat)
        cost[heat] += FORBIDDEN * (~allowed[members]).sum(axis=0)
        flew = before[members[before[members] >= 0]]
        cost[heat] += ((heats + places[np.newaxis, :] - flew[:, np.newaxis]) ** 2).sum(axis=0)
    place_of = cheapest_matching(cost)
    return np.where(heat_of < 0, -1, place_of[np.maximum(heat_of, 0)])


def cheapest_matching(cost: np.ndarray) -> np.ndarray:
    """(n,) column of each row of a square table, every column once, at the least sum.

    The Hungarian method by shortest augmenting paths (Jonker and Volgenant 1987).
    """
    count = len(cost)
    row_price, column_price = np.zeros(count + 1), np.zeros(count + 1)
    row_of = np.full(count + 1, -1)  # the last column is where the row to be seated stands
    for row in range(count):
        row_of[count] = row
        column = count
        least = np.full(count, np.inf)
        came_from = np.full(count, count)
        is_done = np.zeros(count + 1, dtype=np.bool_)
        while row_of[column] >= 0:
            is_done[column] = True
            here = row_of[column]
            slack = cost[here] - row_price[here] - column_price[:count]
            is_nearer = ~is_done[:count] & (slack < least)
            least[is_nearer] = slack[is_nearer]
            came_from[is_nearer] = column
            nearest = int(np.where(is_done[:count], np.inf, least).argmin())
            step = least[nearest]
            row_price[row_of[is_done]] += step
            column_price[is_done] -= step
            least[~is_done[:count]] -= step
            column = nearest
        while column != count:
            row_of[column] = row_of[came_from[column]]
            column = int(came_from[column])
    columns = np.empty(count, dtype=np.int64)
    columns[row_of[:count]] = np.arange(count)
    return columns
