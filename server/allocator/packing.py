"""Whether the pilots to come can stand far enough from each other: a bound on what is not placed yet.

How much load a receiver still has room for says how near each carrier to come may stand. So every pair of pilots
has a least distance, and all of them need room side by side on the channels left to each. An order from the
lowest to the highest is looked for by dynamic programming over sets of pilots: the lowest channel that the
last of a set can have, every neighbour far enough away. Only neighbours are compared, so that no
assignment within the limits is ever excluded.
"""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled_part
from server.allocator.kernel import Gear


class Steps(NamedTuple):
    """Channels by index, a distance away: row d, for d whole MHz.

    up     (d, m)  the lowest channel at least d above each; m where there is none
    down   (d, m)  one more than the highest channel at least d below each; 0 where there is none
    """

    up: np.ndarray
    down: np.ndarray


def steps_of(gear: Gear) -> Steps:
    """Steps for every distance that a receiver or the rules can ask for."""
    farthest = max(len(gear.protection), gear.spacing_mhz + 1)
    distances = np.arange(farthest)[:, np.newaxis]
    return Steps(
        np.searchsorted(gear.mhz, gear.mhz[np.newaxis, :] + distances),
        np.searchsorted(gear.mhz, gear.mhz[np.newaxis, :] - distances, side="right"),
    )


@compiled_part
def least_distance_mhz(gear, room, level):
    """Least offset in MHz at which a carrier of a level (mW) adds no more than ``room`` (mW) above the floor."""
    floor = gear.protection[-1]
    offset = gear.protection.shape[0] - 1
    while offset > gear.spacing_mhz and level * (gear.protection[offset - 1] - floor) <= room:
        offset -= 1
    return max(offset, gear.spacing_mhz)


@compiled_part
def keep_room(steps, live, distance_mhz):
    """Take from live (k, m) the channels that leave no room for somebody; distance_mhz (k, k) symmetric.

    Returns False where somebody has none left.
    """
    count, channels = live.shape
    everybody = (1 << count) - 1
    # Of every set: the lowest channel that its last can have with the others below, and for a set above,
    # one more than the highest channel that its first can have.
    lowest = np.full((everybody + 1, count), channels, dtype=np.int64)
    highest = np.zeros((everybody + 1, count), dtype=np.int64)
    above = np.empty((count, channels + 1), dtype=np.int64)
    below = np.empty((count, channels + 1), dtype=np.int64)
    for pilot in range(count):
        above[pilot, channels] = channels
        below[pilot, 0] = 0
        for f in range(channels):
            below[pilot, f + 1] = f + 1 if live[pilot, f] else below[pilot, f]
            g = channels - 1 - f
            above[pilot, g] = g if live[pilot, g] else above[pilot, g + 1]
        lowest[1 << pilot, pilot] = above[pilot, 0]
        highest[1 << pilot, pilot] = below[pilot, channels]
    for taken in range(1, everybody):
        for last in range(count):
            low = lowest[taken, last]
            high = highest[taken, last]
            if low == channels and high == 0:
                continue
            for pilot in range(count):
                if taken & (1 << pilot):
                    continue
                more = taken | (1 << pilot)
                gap = distance_mhz[last, pilot]
                if low < channels:
                    lowest[more, pilot] = min(lowest[more, pilot], above[pilot, steps.up[gap, low]])
                if high > 0:
                    highest[more, pilot] = max(highest[more, pilot], below[pilot, steps.down[gap, high - 1]])
    for pilot in range(count):  # noqa: SIM110 (the compiler knows no generators)
        if not _keep_standing(lowest, highest, live[pilot], pilot):
            return False
    return True


@compiled_part
def _keep_standing(lowest, highest, live, pilot):
    """Keep one pilot's channels that have room for some of the others below and the rest above."""
    everybody = lowest.shape[0] - 1
    mine = 1 << pilot
    can_stand = np.zeros(live.shape[0], dtype=np.bool_)
    for left in range(mine, everybody + 1):
        if left & mine:
            can_stand[lowest[left, pilot] : highest[(everybody ^ left) | mine, pilot]] = True
    has_one = False
    for f in range(live.shape[0]):
        live[f] = live[f] and can_stand[f]
        has_one = has_one or live[f]
    return has_one
