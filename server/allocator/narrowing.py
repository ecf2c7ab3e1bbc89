"""Which channels can still lead within the limits, and what the pilots to come are sure to cost.

At a node of the search some pilots are placed. A channel stays live for a pilot to come only if

* the pilot would be within the limits on it: what those placed do there counts exactly, everything later at
  the least it can be, that is at the floor of the protection ratio;
* everybody placed stays within the limits beside it, again with the rest at the floor;
* all pilots to come have room side by side, see ``packing.py``.

What each pilot to come must add to a placed receiver, on the channel that does it least harm, is summed.
Where a sum passes the limit or somebody has no channel left, nothing within the limits follows.
"""

import numpy as np

from server.allocator.compiled import compiled_close, compiled_part
from server.allocator.kernel import STRESS_FACTOR, TIE
from server.allocator.loops import copy_into
from server.allocator.packing import keep_room, least_distance_mhz
from server.allocator.stack import waiting_pilots


@compiled_part
def narrow(gear, stack, depth, limit, stressed_limit):
    """Take from the open node's pilots the channels that cannot lead within the limits.

    Returns lower bounds of the largest load and stressed load, infinite where a pilot has no channel left.
    """
    waiting = waiting_pilots(stack.sums.pilot, depth, gear.usable.shape[0])
    _count_what_is_sure(gear, stack, depth, waiting)
    for later in waiting:
        if not _narrow_one(gear, stack, depth, later, waiting, limit, stressed_limit):
            stack.weight[later] += 1.0
            return np.inf, np.inf
    is_limited = limit < np.inf and len(waiting) > 1
    if is_limited and not _fit_beside(gear, stack, depth, waiting, limit, stressed_limit):
        return np.inf, np.inf
    return _bounds(gear, stack, depth, waiting)


@compiled_close
def _count_what_is_sure(gear, stack, depth, waiting):
    """Fill sure (2, n): load and stressed at each placed receiver with everything to come at the floor, mW."""
    sums = stack.sums
    placed = sums.pilot[:depth]
    floor = gear.protection[-1]
    for listener in placed:
        level = gear.level_mw[gear.sense[listener]]
        carriers = sums.own_carriers[depth, listener]
        for later in waiting:
            carriers += level[later] * floor
        made = _products_of(level, placed, level[listener], 0.0)
        missing = _products_of(level, stack.everybody, level[listener], 0.0) - made
        products = sums.own_products[depth, listener] + _sure(missing) * gear.mixing * floor
        stack.sure[0, listener] = carriers + products
        stack.sure[1, listener] = carriers + STRESS_FACTOR * products
        stack.least[:, listener] = 0.0


@compiled_close
def _narrow_one(gear, stack, depth, later, waiting, limit, stressed_limit):
    """Narrow one pilot's channels; fill own, and add to least what this pilot is sure to add to those placed."""
    sums = stack.sums
    placed = sums.pilot[:depth]
    live = stack.live[depth, later]
    left = stack.left
    floor = gear.protection[-1]
    level = gear.level_mw[gear.sense[later]]
    carriers_to_come = 0.0
    for other in waiting:
        if other != later:
            carriers_to_come += level[other] * floor
    missing = _products_of(level, stack.everybody, level[later], 0.0) - _products_of(level, placed, 0.0, 0.0)
    kept = _keep_quiet(
        sums.carriers[depth, gear.sense[later]],
        sums.products[depth, gear.sense[later]],
        carriers_to_come,
        _sure(missing) * gear.mixing * floor,
        gear.wanted_mw[later],
        limit,
        stressed_limit,
        live,
        left,
        stack.own[later],
    )
    for x in range(depth):
        listener = placed[x]
        level = gear.level_mw[gear.sense[listener]]
        # The products with those placed are known now; until here they were counted at the floor.
        counted = _products_of(level, placed, level[listener], level[later]) - _products_of(
            level, placed, level[listener], 0.0
        )
        kept = _keep_harmless(
            stack.rows.once[gear.mhz[sums.channel[listener]] - stack.rows.once_from],
            sums.quadratic[depth, listener],
            sums.linear[depth, listener],
            level[later],
            gear.mixing,
            floor,
            _sure(counted) * gear.mixing * floor,
            limit * gear.wanted_mw[listener] - stack.sure[0, listener],
            stressed_limit * gear.wanted_mw[listener] - stack.sure[1, listener],
            left,
            kept,
            stack.harm[0, x],
            stack.harm[1, x],
        )
    live[:] = False
    for number in range(kept):
        live[left[number]] = True
    for x in range(depth):
        stack.least[0, placed[x]] += _least(stack.harm[0, x], left, kept)
        stack.least[1, placed[x]] += _least(stack.harm[1, x], left, kept)
    return kept > 0


@compiled_close
def _bounds(gear, stack, depth, waiting):
    """Least that the largest load and stressed load can become below the open node."""
    bound = 0.0
    stressed_bound = 0.0
    for later in waiting:
        bound = max(bound, stack.own[later, 0])
        stressed_bound = max(stressed_bound, stack.own[later, 1])
    for x in range(depth):
        listener = stack.sums.pilot[x]
        wanted = gear.wanted_mw[listener]
        bound = max(bound, (stack.sure[0, listener] + stack.least[0, listener]) / wanted)
        stressed_bound = max(stressed_bound, (stack.sure[1, listener] + stack.least[1, listener]) / wanted)
    return bound, stressed_bound


@compiled_part
def _sure(missing):
    """A difference of sums of products as a number that is sure not to be too large."""
    return max(0.0, missing * (1.0 - TIE))


@compiled_part
def _products_of(level, pilots, without, more):
    """Sum of the levels of every product of some carriers, in closed form from the sums of their powers.

    without, more   levels of one of them who takes no part and of one who takes part besides; 0 for nobody
    """
    first = more - without
    second = more**2 - without**2
    third = more**3 - without**3
    for pilot in pilots:
        first += level[pilot]
        second += level[pilot] ** 2
        third += level[pilot] ** 3
    return 2.0 * first**3 - 5.0 * first * second + 3.0 * third


@compiled_part
def _keep_quiet(
    heard, made, carriers_to_come, products_to_come, wanted, limit, stressed_limit, live, left, own
):
    """Put into left the channels on which the pilot is within the limits; own (2,) the least loads; how many."""
    own[0] = np.inf
    own[1] = np.inf
    count = 0
    for f in range(live.shape[0]):
        if not live[f]:
            continue
        carriers = heard[f] + carriers_to_come
        products = made[f] + products_to_come
        load = (carriers + products) / wanted
        stressed = (carriers + STRESS_FACTOR * products) / wanted
        if load <= limit and stressed <= stressed_limit:
            own[0] = min(own[0], load)
            own[1] = min(own[1], stressed)
            left[count] = f
            count += 1
    return count


@compiled_part
def _keep_harmless(
    row, quadratic, linear, mine, mixing, floor, counted, room, stressed_room, left, count, harm, stressed
):
    """Keep in left the channels on which one placed receiver stays within its room; how many."""
    kept = 0
    for number in range(count):
        f = left[number]
        carrier = mine * (row[f] - floor)
        products = mixing * mine * (mine * quadratic[f] + linear[f]) - counted
        harm[f] = carrier + products
        stressed[f] = carrier + STRESS_FACTOR * products
        if harm[f] <= room and stressed[f] <= stressed_room:
            left[kept] = f
            kept += 1
    return kept


@compiled_part
def _least(harm, left, count):
    smallest = np.inf
    for number in range(count):
        smallest = min(smallest, harm[left[number]])
    return smallest


@compiled_part
def _fit_beside(gear, stack, depth, waiting, limit, stressed_limit):
    """Keep the channels that leave the pilots to come as far from each other as their receivers need."""
    count = len(waiting)
    distance = np.zeros((count, count), dtype=np.int64)
    live = np.empty((count, gear.usable.shape[1]), dtype=np.bool_)
    for x in range(count):
        listener = waiting[x]
        copy_into(live[x], stack.live[depth, listener])
        room = min(limit - stack.own[listener, 0], stressed_limit - stack.own[listener, 1])
        level = gear.level_mw[gear.sense[listener]]
        for y in range(count):
            if y != x:
                needed = least_distance_mhz(gear, room * gear.wanted_mw[listener], level[waiting[y]])
                distance[x, y] = max(distance[x, y], needed)
                distance[y, x] = max(distance[y, x], needed)
    if not keep_room(stack.steps, live, distance):
        return False
    for x in range(count):
        copy_into(stack.live[depth, waiting[x]], live[x])
    return True
