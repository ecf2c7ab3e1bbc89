"""The compiled core: interference sums of a heat, and the exact search over its channels.

Everything is linear here. The *load* of a receiver is its interference, weighted by the protection
ratio, over its wanted carrier: margin = -10 log10(load). Carriers and products are kept apart, because
the stressed load only re-weights the second: load = carriers + products, stressed = carriers + 100
products. A worst margin of at least T is a largest load of at most 10^(-T/10), so the search compares
sums and never takes a logarithm before the last stage.

The search is depth first with an explicit stack, so that it can stop after a number of nodes and go on
later. At every node

* the sums at placed receivers are exact for what is placed, and get the least that the pilots to come
  must add: their carriers at the best channel left to them, their products at the floor;
* a channel stays live for a pilot only if neither the pilot nor anybody placed would pass the limits;
* the pilot with the fewest live channels is placed next, the least loaded channel first;
* pilots of equal gear are interchangeable: once "Wren on R1" is searched to the end, "Rook on R1" beside
  it can only repeat it with the names exchanged, so R1 is taken from Rook in the branches that follow.

Shapes: n pilots, m channels (ascending MHz), s receiving senses that occur.
"""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled

WORST, STRESSED, CHOICE = 1, 2, 3
"""What a search minimises: the largest load; the largest stressed load; the preferences after them."""

STRESS_FACTOR = 100.0
"""Products grow by twice the 10 dB that the intercept point falls."""

TIE = 1e-9
"""Relative difference below which two loads are the same number."""

_CHANGE, _OUTSIDE = 1_000_000_000, 1_000_000
"""Weights that make one whole number of changes, channels outside the day's set, and lost spacing."""

_WIDEST_MHZ = 100_000

BROKEN = 1e12
"""Load that stands for a broken rule in a descent."""


class Gear(NamedTuple):
    """The numbers of a heat's problem.

    mhz          (m,)   int, ascending
    usable       (n, m) bool
    level_mw     (s, n) what receivers of each sense hear from each pilot's transmitter nearby
    sense        (n,)   int, row of level_mw that this pilot's receiver reads
    wanted_mw    (n,)   own carrier at the far distance
    alike        (n,)   int, equal for pilots whose gear the sums cannot tell apart
    current      (n,)   int, index of the channel the transmitter is set to, or -1
    in_day_set   (m,)   bool
    protection   (k,)   power ratio by whole MHz of offset, the last for all beyond
    mixing       1 / iip3^2 in mW^-2
    spacing_mhz  least distance between two pilots
    """

    mhz: np.ndarray
    usable: np.ndarray
    level_mw: np.ndarray
    sense: np.ndarray
    wanted_mw: np.ndarray
    alike: np.ndarray
    current: np.ndarray
    in_day_set: np.ndarray
    protection: np.ndarray
    mixing: float
    spacing_mhz: int


class Stack(NamedTuple):
    """Where a search stands; row d belongs to the node with d pilots placed.

    carriers, products     (n, s, m)  what the placed transmitters put on every channel, mW
    own_carriers, own_products (n + 1, n)  the same at each placed receiver on its channel, its own left out
    live        (n, n, m)  bool
    pilot       (n,)       who is placed at this depth
    option      (n, m)     channels to try, best first
    options     (n,)       how many, -1 before the node is opened
    tried       (n,)       how many were tried
    channel     (n,)       channel of each placed pilot by pilot, -1 for none
    best        (n,)       channel of each pilot in the best answer, -1 before there is one
    tenths      (n,)       margins of the best answer in tenths of a dB, ascending
    value       (2,)       [0] the best answer's load, or whole-number key; [1] 1 once there is an answer
    depth       (1,)       placed pilots at the open node; -1 when the search has ended
    nodes       (1,)       nodes opened so far
    """

    carriers: np.ndarray
    products: np.ndarray
    own_carriers: np.ndarray
    own_products: np.ndarray
    live: np.ndarray
    pilot: np.ndarray
    option: np.ndarray
    options: np.ndarray
    tried: np.ndarray
    channel: np.ndarray
    best: np.ndarray
    tenths: np.ndarray
    value: np.ndarray
    depth: np.ndarray
    nodes: np.ndarray


def new_stack(gear: Gear) -> Stack:
    """A search that has not begun."""
    n, m = gear.usable.shape
    s = gear.level_mw.shape[0]
    stack = Stack(
        carriers=np.zeros((n, s, m)),
        products=np.zeros((n, s, m)),
        own_carriers=np.zeros((n + 1, n)),
        own_products=np.zeros((n + 1, n)),
        live=np.zeros((n, n, m), dtype=np.bool_),
        pilot=np.zeros(n, dtype=np.int64),
        option=np.zeros((n, m), dtype=np.int64),
        options=np.full(n, -1, dtype=np.int64),
        tried=np.zeros(n, dtype=np.int64),
        channel=np.full(n, -1, dtype=np.int64),
        best=np.full(n, -1, dtype=np.int64),
        tenths=np.zeros(n, dtype=np.int64),
        value=np.array([np.inf, 0.0]),
        depth=np.zeros(1, dtype=np.int64),
        nodes=np.zeros(1, dtype=np.int64),
    )
    stack.live[0] = gear.usable
    return stack


@compiled
def _sort(values, companions):
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


@compiled
def _protection(gear, offset_mhz):
    last = gear.protection.shape[0] - 1
    return gear.protection[min(abs(offset_mhz), last)]


@compiled
def _mixed_at(gear, level, who, where, newcomer, newcomer_mhz, at_mhz, without):
    """Products that a newcomer makes with those placed, as heard at ``at_mhz``; ``without`` takes no part.

    level (n,) mW at this receiver; who, where: placed pilots and their MHz. Not yet times gear.mixing.
    """
    total = 0.0
    mine = level[newcomer]
    count = len(who)
    for x in range(count):
        if who[x] == without:
            continue
        theirs = level[who[x]]
        total += mine * mine * theirs * _protection(gear, 2 * newcomer_mhz - where[x] - at_mhz)
        total += theirs * theirs * mine * _protection(gear, 2 * where[x] - newcomer_mhz - at_mhz)
        for y in range(x + 1, count):
            if who[y] == without:
                continue
            total += (
                4.0
                * mine
                * theirs
                * level[who[y]]
                * (
                    _protection(gear, newcomer_mhz + where[x] - where[y] - at_mhz)
                    + _protection(gear, newcomer_mhz + where[y] - where[x] - at_mhz)
                    + _protection(gear, where[x] + where[y] - newcomer_mhz - at_mhz)
                )
            )
    return total


@compiled
def heat_loads(gear, pilots, mhz, load, stressed):
    """Fill load and stressed (len(pilots),) of a whole heat: pilots on the frequencies mhz, both (k,) int."""
    count = len(pilots)
    for x in range(count):
        level = gear.level_mw[gear.sense[pilots[x]]]
        carriers = 0.0
        products = 0.0
        for y in range(count):
            if y == x:
                continue
            carriers += level[pilots[y]] * _protection(gear, mhz[y] - mhz[x])
            products += _mixed_at(gear, level, pilots[:y], mhz[:y], pilots[y], mhz[y], mhz[x], pilots[x])
        wanted = gear.wanted_mw[pilots[x]]
        load[x] = (carriers + gear.mixing * products) / wanted
        stressed[x] = (carriers + STRESS_FACTOR * gear.mixing * products) / wanted


@compiled
def _all_products(level, who, without):
    """Sum of the levels of every product of a set of carriers, in closed form from their power sums."""
    first = second = third = 0.0
    for x in who:
        if x == without:
            continue
        first += level[x]
        second += level[x] ** 2
        third += level[x] ** 3
    return 2.0 * first**3 - 5.0 * first * second + 3.0 * third


@compiled
def _placed(stack, depth, gear):
    who = stack.pilot[:depth].copy()
    where = np.empty(depth, dtype=np.int64)
    for x in range(depth):
        where[x] = gear.mhz[stack.channel[who[x]]]
    return who, where


@compiled
def _waiting(stack, depth, count):
    waiting = np.empty(count - depth, dtype=np.int64)
    found = 0
    for pilot in range(count):
        is_placed = False
        for x in range(depth):
            if stack.pilot[x] == pilot:
                is_placed = True
        if not is_placed:
            waiting[found] = pilot
            found += 1
    return waiting


@compiled
def _products_to_come(gear, level, who, everybody, without):
    """Least that products not yet made will add: their whole level at the floor, mW."""
    missing = _all_products(level, everybody, without) - _all_products(level, who, without)
    return max(0.0, missing * (1.0 - TIE)) * gear.mixing * gear.protection[-1]


@compiled
def _narrow(gear, stack, depth, limit, stressed_limit):
    """Take from the open node's pilots the channels that cannot lead within the limits.

    Returns the lower bounds of the largest load and stressed load, infinite where a pilot has none left.
    """
    count, channels = gear.usable.shape
    who, where = _placed(stack, depth, gear)
    waiting = _waiting(stack, depth, count)
    everybody = np.arange(count)
    live = stack.live[depth]
    floor = gear.protection[-1]
    bound = 0.0
    stressed_bound = 0.0

    # What each placed receiver is sure to suffer in the end, first with every later carrier at the floor.
    sure = np.empty(depth)
    sure_products = np.empty(depth)
    for x in range(depth):
        level = gear.level_mw[gear.sense[who[x]]]
        carriers = stack.own_carriers[depth, who[x]]
        for later in waiting:
            carriers += level[later] * floor
        sure[x] = carriers
        sure_products[x] = stack.own_products[depth, who[x]] + _products_to_come(
            gear, level, who, everybody, who[x]
        )

    least = np.zeros(depth)
    extra = np.zeros(depth)
    for later in waiting:
        level = gear.level_mw[gear.sense[later]]
        wanted = gear.wanted_mw[later]
        to_come = 0.0
        for other in waiting:
            if other != later:
                to_come += level[other] * floor
        products_to_come = _products_to_come(gear, level, who, everybody, later)
        own_bound = np.inf
        own_stressed = np.inf
        least[:] = np.inf
        for f in range(channels):
            if not live[later, f]:
                continue
            carriers = stack.carriers[depth, gear.sense[later], f] + to_come
            products = stack.products[depth, gear.sense[later], f] + products_to_come
            load = (carriers + products) / wanted
            stressed = (carriers + STRESS_FACTOR * products) / wanted
            fits = load <= limit and stressed <= stressed_limit
            if fits:
                for x in range(depth):
                    if abs(gear.mhz[f] - where[x]) < gear.spacing_mhz:
                        fits = False
                        break
                    listener = gear.level_mw[gear.sense[who[x]]]
                    added = listener[later] * (_protection(gear, gear.mhz[f] - where[x]) - floor)
                    if (sure[x] + added + sure_products[x]) > limit * gear.wanted_mw[who[x]] or (
                        sure[x] + added + STRESS_FACTOR * sure_products[x]
                    ) > stressed_limit * gear.wanted_mw[who[x]]:
                        fits = False
                        break
            if not fits:
                live[later, f] = False
                continue
            own_bound = min(own_bound, load)
            own_stressed = min(own_stressed, stressed)
            for x in range(depth):
                listener = gear.level_mw[gear.sense[who[x]]]
                added = listener[later] * (_protection(gear, gear.mhz[f] - where[x]) - floor)
                least[x] = min(least[x], added)
        bound = max(bound, own_bound)
        stressed_bound = max(stressed_bound, own_stressed)
        if own_bound == np.inf:
            return bound, stressed_bound
        extra += least
    for x in range(depth):
        wanted = gear.wanted_mw[who[x]]
        bound = max(bound, (sure[x] + extra[x] + sure_products[x]) / wanted)
        stressed_bound = max(stressed_bound, (sure[x] + extra[x] + STRESS_FACTOR * sure_products[x]) / wanted)
    return bound, stressed_bound


@compiled
def _open(gear, stack, depth, goal):
    """Choose who is placed next at the open node and in which order the channels are tried."""
    count, channels = gear.usable.shape
    live = stack.live[depth]
    chosen = -1
    fewest = channels + 1
    for later in _waiting(stack, depth, count):
        left = 0
        for f in range(channels):
            left += live[later, f]
        if left < fewest:
            fewest = left
            chosen = later
    rank = np.empty(fewest)
    found = 0
    for f in range(channels):
        if not live[chosen, f]:
            continue
        stack.option[depth, found] = f
        carriers = stack.carriers[depth, gear.sense[chosen], f]
        products = stack.products[depth, gear.sense[chosen], f]
        rank[found] = carriers + (products if goal == WORST else STRESS_FACTOR * products)
        if goal == CHOICE:
            if gear.current[chosen] >= 0 and gear.current[chosen] != f:
                rank[found] += 1e6
            if not gear.in_day_set[f]:
                rank[found] += 1e3
        found += 1
    _sort(rank, stack.option[depth])
    stack.pilot[depth] = chosen
    stack.options[depth] = found
    stack.tried[depth] = 0


@compiled
def _place(gear, stack, depth, f):
    """Sums of the node below, with the open node's pilot on channel f."""
    count, channels = gear.usable.shape
    who, where = _placed(stack, depth, gear)
    newcomer = stack.pilot[depth]
    newcomer_mhz = gear.mhz[f]
    below = depth + 1
    for x in range(depth):
        level = gear.level_mw[gear.sense[who[x]]]
        stack.own_carriers[below, who[x]] = stack.own_carriers[depth, who[x]] + level[newcomer] * _protection(
            gear, newcomer_mhz - where[x]
        )
        stack.own_products[below, who[x]] = stack.own_products[depth, who[x]] + gear.mixing * _mixed_at(
            gear, level, who, where, newcomer, newcomer_mhz, where[x], who[x]
        )
    stack.own_carriers[below, newcomer] = stack.carriers[depth, gear.sense[newcomer], f]
    stack.own_products[below, newcomer] = stack.products[depth, gear.sense[newcomer], f]
    stack.channel[newcomer] = f
    if below == count:
        return
    stack.live[below] = stack.live[depth]
    for sense in range(gear.level_mw.shape[0]):
        level = gear.level_mw[sense]
        for g in range(channels):
            is_wanted = False
            for later in range(count):
                if later != newcomer and gear.sense[later] == sense and stack.live[depth, later, g]:
                    is_wanted = True
            if not is_wanted:
                continue
            offset_mhz = newcomer_mhz - gear.mhz[g]
            stack.carriers[below, sense, g] = stack.carriers[depth, sense, g] + level[newcomer] * _protection(
                gear, offset_mhz
            )
            stack.products[below, sense, g] = stack.products[depth, sense, g] + gear.mixing * _mixed_at(
                gear, level, who, where, newcomer, newcomer_mhz, gear.mhz[g], -1
            )


@compiled
def _within(gear, stack, below, limit, stressed_limit):
    """Whether everybody placed is within the limits, with later carriers and products at the floor."""
    count = gear.usable.shape[0]
    who = stack.pilot[:below]
    waiting = _waiting(stack, below, count)
    everybody = np.arange(count)
    for pilot in who:
        level = gear.level_mw[gear.sense[pilot]]
        carriers = stack.own_carriers[below, pilot]
        for later in waiting:
            carriers += level[later] * gear.protection[-1]
        products = stack.own_products[below, pilot]
        if len(waiting) > 0:
            products += _products_to_come(gear, level, who, everybody, pilot)
        wanted = gear.wanted_mw[pilot]
        if (
            carriers + products > limit * wanted
            or carriers + STRESS_FACTOR * products > stressed_limit * wanted
        ):
            return False
    return True


@compiled
def _drop_mirrored(gear, stack, depth, f, tried):
    """Leave out what equal gear would only repeat with names exchanged.

    With pilot u on f, a pilot v of equal gear who could also use f must not take a channel e that u has
    already tried here: the exchange (u on e, v on f) was searched. Where current channels matter the
    exchange must not be worse for it.
    """
    placed = stack.pilot[depth]
    for other in range(gear.usable.shape[0]):
        if other == placed or gear.alike[other] != gear.alike[placed] or not gear.usable[other, f]:
            continue
        for x in range(tried):
            e = stack.option[depth, x]
            kept_now = (gear.current[placed] == f) + (gear.current[other] == e)
            kept_exchanged = (gear.current[placed] == e) + (gear.current[other] == f)
            if kept_exchanged >= kept_now:
                stack.live[depth + 1, other, e] = False


@compiled
def _key(gear, stack, below):
    """Whole number that stages 3 to 5 compare, smaller is better: exact for what is placed, and the least
    that pilots to come must add."""
    count = gear.usable.shape[0]
    changes = 0
    outside = 0
    closest_mhz = _WIDEST_MHZ
    for x in range(below):
        pilot = stack.pilot[x]
        f = stack.channel[pilot]
        changes += gear.current[pilot] >= 0 and gear.current[pilot] != f
        outside += not gear.in_day_set[f]
        for y in range(x):
            closest_mhz = min(closest_mhz, abs(gear.mhz[f] - gear.mhz[stack.channel[stack.pilot[y]]]))
    if below < count:
        for later in _waiting(stack, below, count):
            changes += gear.current[later] >= 0 and not stack.live[below, later, gear.current[later]]
            can_stay_inside = False
            for f in range(gear.mhz.shape[0]):
                if gear.in_day_set[f] and stack.live[below, later, f]:
                    can_stay_inside = True
                    break
            outside += not can_stay_inside
    return changes * _CHANGE + outside * _OUTSIDE + (_WIDEST_MHZ - closest_mhz)


@compiled
def _margin_tenths(gear, stack, below):
    """Margins of the placed receivers so far, in tenths of a dB, ascending; no load at all counts as ample."""
    tenths = np.empty(below, dtype=np.int64)
    for x in range(below):
        pilot = stack.pilot[x]
        load = (stack.own_carriers[below, pilot] + stack.own_products[below, pilot]) / gear.wanted_mw[pilot]
        tenths[x] = 10_000 if load <= 0.0 else int(np.floor(-100.0 * np.log10(load) + 0.5))
    _sort(tenths, np.empty(below, dtype=np.int64))
    return tenths


@compiled
def _is_better_choice(gear, stack, key):
    """Whether a complete assignment beats the best one: key, then margins from the worst, then lowest MHz."""
    count = gear.usable.shape[0]
    if stack.value[1] == 0.0 or key != stack.value[0]:
        return stack.value[1] == 0.0 or key < stack.value[0]
    tenths = _margin_tenths(gear, stack, count)
    for x in range(count):
        if tenths[x] != stack.tenths[x]:
            return tenths[x] > stack.tenths[x]
    mine = stack.channel.copy()
    theirs = stack.best.copy()
    _sort(mine, stack.channel.copy())
    _sort(theirs, stack.best.copy())
    for x in range(count):
        if mine[x] != theirs[x]:
            return mine[x] < theirs[x]
    return False


@compiled
def _worst_loads(gear, stack, depth):
    load = 0.0
    stressed = 0.0
    for x in range(depth):
        pilot = stack.pilot[x]
        carriers = stack.own_carriers[depth, pilot]
        products = stack.own_products[depth, pilot]
        load = max(load, (carriers + products) / gear.wanted_mw[pilot])
        stressed = max(stressed, (carriers + STRESS_FACTOR * products) / gear.wanted_mw[pilot])
    return load, stressed


@compiled
def _accept(gear, stack, value):
    stack.value[0] = value
    stack.value[1] = 1.0
    stack.best[:] = stack.channel
    stack.tenths[:] = _margin_tenths(gear, stack, gear.usable.shape[0])


@compiled
def search(gear, stack, goal, limit, stressed_limit, most_nodes):
    """Go on searching for at most ``most_nodes`` nodes.

    goal                    WORST, STRESSED or CHOICE: what is minimised
    limit, stressed_limit   largest load and stressed load that an answer may have

    Returns True when the search has ended: stack.best is then optimal, or -1 where there is no answer.
    """
    count = gear.usable.shape[0]
    stop_at = stack.nodes[0] + most_nodes
    while stack.depth[0] >= 0:
        if stack.nodes[0] >= stop_at:
            return False
        depth = stack.depth[0]
        has_answer = stack.value[1] == 1.0
        # Only a better answer is of interest, so the answer in hand tightens the limit of what is minimised.
        now = limit
        stressed_now = stressed_limit
        if has_answer and goal == WORST:
            now = min(limit, stack.value[0] * (1.0 - TIE))
        if has_answer and goal == STRESSED:
            stressed_now = min(stressed_limit, stack.value[0] * (1.0 - TIE))
        if stack.options[depth] < 0:
            stack.nodes[0] += 1
            bound, stressed_bound = _narrow(gear, stack, depth, now, stressed_now)
            hopeless = bound > now or stressed_bound > stressed_now or bound == np.inf
            if not hopeless and goal == CHOICE and has_answer:
                hopeless = _key(gear, stack, depth) > stack.value[0]
            if hopeless:
                stack.depth[0] -= 1
                continue
            _open(gear, stack, depth, goal)
        if stack.tried[depth] >= stack.options[depth]:
            stack.options[depth] = -1
            stack.channel[stack.pilot[depth]] = -1
            stack.depth[0] -= 1
            continue
        tried = stack.tried[depth]
        f = stack.option[depth, tried]
        stack.tried[depth] += 1
        _place(gear, stack, depth, f)
        if not _within(gear, stack, depth + 1, now, stressed_now):
            continue
        if depth + 1 < count:
            _drop_mirrored(gear, stack, depth, f, tried)
            stack.options[depth + 1] = -1
            stack.depth[0] = depth + 1
            continue
        if goal == CHOICE:
            key = _key(gear, stack, count)
            if _is_better_choice(gear, stack, key):
                _accept(gear, stack, float(key))
        else:
            load, stressed = _worst_loads(gear, stack, count)
            _accept(gear, stack, load if goal == WORST else stressed)
    return True


@compiled
def root_bound(gear, stack):
    """Load that no assignment can stay below: the bound of a search in which nobody is placed yet."""
    bound, _ = _narrow(gear, stack, 0, np.inf, np.inf)
    return bound


@compiled
def _penalised_load(gear, channel, goal, limit, load, stressed, everybody, mhz):
    """What the descent lowers: the goal's largest load, and far more for each rule that is broken."""
    count = channel.shape[0]
    for x in range(count):
        mhz[x] = gear.mhz[channel[x]]
    heat_loads(gear, everybody, mhz, load, stressed)
    penalty = 0.0
    for x in range(count):
        for y in range(x):
            if abs(mhz[x] - mhz[y]) < gear.spacing_mhz:
                penalty += BROKEN
    worst = load.max()
    if goal == WORST:
        return worst + penalty
    return stressed.max() + penalty + (BROKEN * worst / limit if worst > limit else 0.0)


@compiled
def descend(gear, starts, goal, limit, answer):
    """Fill answer (n,) with the best end of a descent from each row of starts (r, n); channels by index.

    One pilot at a time moves to the channel that lowers the goal most, until nobody can. Returns the
    largest load (or stressed load within ``limit``) of the answer; BROKEN or more: rules are broken.
    """
    count, channels = gear.usable.shape
    load = np.empty(count)
    stressed = np.empty(count)
    mhz = np.empty(count, dtype=np.int64)
    everybody = np.arange(count)
    best = np.inf
    for start in range(starts.shape[0]):
        channel = starts[start].copy()
        value = _penalised_load(gear, channel, goal, limit, load, stressed, everybody, mhz)
        improved = True
        while improved:
            improved = False
            for pilot in range(count):
                kept = channel[pilot]
                for f in range(channels):
                    if not gear.usable[pilot, f] or f == kept:
                        continue
                    channel[pilot] = f
                    trial = _penalised_load(gear, channel, goal, limit, load, stressed, everybody, mhz)
                    if trial < value * (1.0 - TIE):
                        value = trial
                        kept = f
                        improved = True
                channel[pilot] = kept
        if value < best:
            best = value
            answer[:] = channel
    return best
