"""The order of preference among assignments that are equally good: stages 3 to 6.

Fewest changes, fewest channels outside the day's set and widest spacing are one whole number; then the margins
from the worst up are compared, then the frequencies from the lowest.
"""

import numpy as np

from server.allocator.compiled import compiled_part
from server.allocator.stack import waiting_pilots

_CHANGE, _OUTSIDE = 1_000_000_000, 1_000_000
"""Weights that make one whole number of changes, channels outside the day's set, and lost spacing."""

_WIDEST_MHZ = 100_000


@compiled_part
def sort_few(values, companions):
    """Sort a few values ascending in place, equal ones in their order, and their companions with them.

    By insertion: numpy's sort takes two seconds to compile and no less time on a dozen values.
    """
    for x in range(1, len(values)):
        value = values[x]
        companion = companions[x]
        y = x - 1
        while y >= 0 and values[y] > value:
            values[y + 1] = values[y]
            companions[y + 1] = companions[y]
            y -= 1
        values[y + 1] = value
        companions[y + 1] = companion


@compiled_part
def key_of(gear, stack, below):
    """Whole number that stages 3 to 5 compare, smaller is better: exact for what is placed, and the least
    that pilots to come must add."""
    count = gear.usable.shape[0]
    sums = stack.sums
    changes = 0
    outside = 0
    closest_mhz = _WIDEST_MHZ
    for x in range(below):
        pilot = sums.pilot[x]
        f = sums.channel[pilot]
        changes += gear.current[pilot] >= 0 and gear.current[pilot] != f
        outside += not gear.in_day_set[f]
        for y in range(x):
            closest_mhz = min(closest_mhz, abs(gear.mhz[f] - gear.mhz[sums.channel[sums.pilot[y]]]))
    if below < count:
        for later in waiting_pilots(sums.pilot, below, count):
            changes += gear.current[later] >= 0 and not stack.live[below, later, gear.current[later]]
            can_stay_inside = False
            for f in range(gear.mhz.shape[0]):
                if gear.in_day_set[f] and stack.live[below, later, f]:
                    can_stay_inside = True
                    break
            outside += not can_stay_inside
    return changes * _CHANGE + outside * _OUTSIDE + (_WIDEST_MHZ - closest_mhz)


@compiled_part
def margin_tenths(gear, sums):
    """Margins of a full heat in tenths of a dB, ascending; no load at all counts as ample."""
    count = gear.usable.shape[0]
    tenths = np.empty(count, dtype=np.int64)
    for pilot in range(count):
        load = (sums.own_carriers[count, pilot] + sums.own_products[count, pilot]) / gear.wanted_mw[pilot]
        tenths[pilot] = 10_000 if load <= 0.0 else int(np.floor(-100.0 * np.log10(load) + 0.5))
    sort_few(tenths, np.empty(count, dtype=np.int64))
    return tenths


@compiled_part
def is_better_choice(gear, stack, key):
    """Whether a complete assignment beats the best one: key, then margins from the worst, then lowest MHz."""
    count = gear.usable.shape[0]
    if stack.value[1] == 0.0 or key != stack.value[0]:
        return stack.value[1] == 0.0 or key < stack.value[0]
    tenths = margin_tenths(gear, stack.sums)
    for x in range(count):
        if tenths[x] != stack.tenths[x]:
            return tenths[x] > stack.tenths[x]
    mine = stack.sums.channel.copy()
    theirs = stack.best.copy()
    sort_few(mine, stack.sums.channel.copy())
    sort_few(theirs, stack.best.copy())
    for x in range(count):
        if mine[x] != theirs[x]:
            return mine[x] < theirs[x]
    return False
