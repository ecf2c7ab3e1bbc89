"""The compiled core of changes: loads of a heat with one pilot on every channel, and a few pilots set anew.

Loads are those of `kernel.heat_loads`; n members of a heat, N pilots of a day, m channels (ascending MHz).
"""

import numpy as np

from server.allocator.compiled import compiled, compiled_part
from server.allocator.kernel import heat_loads
from server.allocator.loops import copy_into

TIE = 1e-9
"""Relative difference below which two loads are the same number."""

BROKEN = 1e12
"""Load of a heat in which two are closer than the spacing, once for each pair."""


@compiled
def heat_load(gear, members, channel):
    """Largest load of a heat: members by index, channel (N,) by index; BROKEN or more where spacing is broken."""
    count = len(members)
    mhz = np.empty(count, dtype=np.int64)
    for x in range(count):
        mhz[x] = gear.mhz[channel[members[x]]]
    load = np.empty(count)
    stressed = np.empty(count)
    heat_loads(gear, members, mhz, load, stressed)
    worst = 0.0
    for x in range(count):
        worst = max(worst, load[x])
        for y in range(x):
            if abs(mhz[x] - mhz[y]) < gear.spacing_mhz:
                worst += BROKEN
    return worst


@compiled
def channel_loads(gear, members, channel, pilot):
    """(m,) largest load of a heat with a pilot added on each channel; infinite where the pilot cannot have it."""
    count = len(members)
    channels = gear.mhz.shape[0]
    crowd = np.empty(count + 1, dtype=np.int64)
    copy_into(crowd, members)
    crowd[count] = pilot
    trial = channel.copy()
    loads = np.full(channels, np.inf)
    for f in range(channels):
        if gear.usable[pilot, f]:
            trial[pilot] = f
            loads[f] = heat_load(gear, crowd, trial)
    return loads


@compiled_part
def _best_first(loads, limit, options):
    """Fill options with the channels of a load below the limit, the least loaded first; returns how many."""
    found = 0
    for f in range(len(loads)):
        if loads[f] < limit:
            place = found
            while place > 0 and loads[options[place - 1]] > loads[f]:
                options[place] = options[place - 1]
                place -= 1
            options[place] = f
            found += 1
    return found


@compiled
def improve_free(gear, pinned, free, channel, limit, best):
    """Fill best (n,) with channels of the free pilots that leave a largest load below the limit, the least.

    pinned  pilots who keep channel (n,); free: those who may have any of theirs. Returns the load, or the
    limit where nothing is below it.
    """
    depth = 0
    wanted = len(free)
    tried = np.zeros(wanted, dtype=np.int64)
    channels = gear.mhz.shape[0]
    options = np.empty((wanted, channels), dtype=np.int64)
    count = np.zeros(wanted, dtype=np.int64)
    trial = channel.copy()
    crowd = np.empty(len(pinned) + wanted, dtype=np.int64)
    copy_into(crowd, pinned)
    copy_into(crowd[len(pinned) :], free)
    opened = -1
    while depth >= 0:
        here = len(pinned) + depth
        if opened < depth:
            opened = depth
            loads = channel_loads(gear, crowd[:here], trial, free[depth])
            count[depth] = _best_first(loads, limit * (1.0 - TIE), options[depth])
            tried[depth] = 0
            found = count[depth]
            if depth == wanted - 1 and found > 0:
                trial[free[depth]] = options[depth, 0]
                limit = loads[options[depth, 0]]
                copy_into(best, trial)
                tried[depth] = found
        if tried[depth] >= count[depth]:
            depth -= 1
            opened = depth
            continue
        trial[free[depth]] = options[depth, tried[depth]]
        tried[depth] += 1
        # The best so far may have become better since the options were listed.
        if heat_load(gear, crowd[: here + 1], trial) < limit * (1.0 - TIE):
            depth += 1
    return limit
