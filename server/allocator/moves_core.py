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


@compiled_part
def _fill_loads(gear, members, channel, pilot, least, limit, loads):
    """Fill loads (m,) with the largest load of a heat with a pilot added, for each channel.

    Channels whose least (m,) is not below the limit are left out: infinite. Changes the channel (N,) of the pilot.
    """
    count = len(members)
    crowd = np.empty(count + 1, dtype=np.int64)
    copy_into(crowd, members)
    crowd[count] = pilot
    for f in range(len(loads)):
        loads[f] = np.inf
        if least[f] < limit:
            channel[pilot] = f
            loads[f] = heat_load(gear, crowd, channel)


@compiled_part
def _fill_open(gear, pilot, least):
    """Fill least (m,): nothing on the channels that a pilot can have, infinite on all others."""
    for f in range(len(least)):
        least[f] = 0.0 if gear.usable[pilot, f] else np.inf


@compiled
def channel_loads(gear, members, channel, pilot):
    """(m,) largest load of a heat with a pilot added on each channel; infinite where the pilot cannot have it."""
    loads = np.empty(gear.mhz.shape[0])
    least = np.empty(gear.mhz.shape[0])
    _fill_open(gear, pilot, least)
    _fill_loads(gear, members, channel.copy(), pilot, least, np.inf, loads)
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

    Depth first. Whoever is placed only takes room from all who are not: what is too much for one of them with
    few placed stays too much, and where one of them has nothing left there is no need to go on.
    """
    wanted = len(free)
    channels = gear.mhz.shape[0]
    least = np.empty((wanted + 1, wanted, channels))
    for x in range(wanted):
        _fill_open(gear, free[x], least[0, x])
    options = np.empty((wanted, channels), dtype=np.int64)
    count = np.zeros(wanted, dtype=np.int64)
    tried = np.zeros(wanted, dtype=np.int64)
    trial = channel.copy()
    crowd = np.empty(len(pinned) + wanted, dtype=np.int64)
    copy_into(crowd, pinned)
    copy_into(crowd[len(pinned) :], free)
    depth = 0
    opened = -1
    while depth >= 0:
        if opened < depth:
            opened = depth
            here = crowd[: len(pinned) + depth]
            enough = limit * (1.0 - TIE)
            count[depth] = channels
            for x in range(wanted - 1, depth - 1, -1):
                loads = least[depth + 1, x]
                _fill_loads(gear, here, trial, free[x], least[depth, x], enough, loads)
                count[depth] = _best_first(loads, enough, options[depth])
                if count[depth] == 0:
                    break
            tried[depth] = 0
            if depth == wanted - 1 and count[depth] > 0:
                trial[free[depth]] = options[depth, 0]
                limit = least[depth + 1, depth, options[depth, 0]]
                copy_into(best, trial)
                tried[depth] = count[depth]
        if tried[depth] >= count[depth]:
            depth -= 1
            opened = depth
            continue
        option = options[depth, tried[depth]]
        tried[depth] += 1
        # The best so far may have become better since the options were listed.
        if least[depth + 1, depth, option] < limit * (1.0 - TIE):
            trial[free[depth]] = option
            depth += 1
    return limit
