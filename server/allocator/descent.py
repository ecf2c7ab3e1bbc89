"""First answers for the exact search: one pilot at a time moves to the best channel, until nobody gains.

The sums with everybody else placed give the load of the whole heat for every channel of one pilot at once.
"""

import numpy as np

from server.allocator.compiled import compiled, compiled_inside
from server.allocator.kernel import TIE, WORST
from server.allocator.sums import newcomer_loads, place

BROKEN = 1e12
"""Load that stands for a broken rule."""


@compiled_inside
def _penalised_loads(gear, rows, sums, channel, pilot, goal, limit, load, stressed, value):
    """Fill value (m,) with what the descent lowers, for each channel of one pilot, the others where they are."""
    count, channels = gear.usable.shape
    for depth in range(count - 1):
        other = depth if depth < pilot else depth + 1
        place(gear, rows, sums, depth, other, channel[other])
    newcomer_loads(gear, rows, sums, count - 1, pilot, load, stressed)
    among_others = 0.0
    for x in range(count):
        for y in range(x):
            if x != pilot and y != pilot:
                among_others += abs(gear.mhz[channel[x]] - gear.mhz[channel[y]]) < gear.spacing_mhz
    for f in range(channels):
        close = among_others
        for x in range(count):
            if x != pilot:
                close += abs(gear.mhz[channel[x]] - gear.mhz[f]) < gear.spacing_mhz
        if goal == WORST:
            value[f] = load[f] + BROKEN * close
        else:
            beyond = load[f] / limit if load[f] > limit else 0.0
            value[f] = stressed[f] + BROKEN * (close + beyond)


@compiled
def descend(gear, rows, sums, start, goal, limit):
    """Move start (n,), channels by index, down to where no single move helps; in place.

    goal   WORST lowers the largest load; STRESSED the largest stressed load within ``limit``

    Returns the load reached; BROKEN or more: a rule is broken, or the limit.
    """
    count, channels = gear.usable.shape
    load = np.empty(channels)
    stressed = np.empty(channels)
    value = np.empty(channels)
    reached = np.inf
    since_improved = 0
    pilot = np.int64(0)  # no constant, for which everything would be compiled a second time
    while since_improved < count:
        _penalised_loads(gear, rows, sums, start, pilot, goal, limit, load, stressed, value)
        best = start[pilot]
        for f in range(channels):
            if gear.usable[pilot, f] and value[f] < value[best] * (1.0 - TIE):
                best = f
        reached = value[best]
        since_improved = 0 if best != start[pilot] else since_improved + 1
        start[pilot] = best
        pilot = (pilot + 1) % count
    return reached
