"""Local search over one round: who flies in which heat, and on which channel.

A simulated annealing with a fixed number of steps and its own random numbers, so that the answer depends on
nothing but the question and the seed. It proves nothing; the bound beside its result does.

The energy of a round, in dB: broken hard rules weigh far more than anything; then the worst margin, smoothed
over the heats; then pairs that meet again, heats of unequal size and channels in use, each at its price.
"""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled, compiled_inside, compiled_part
from server.allocator.kernel import heat_loads
from server.allocator.loops import copy_into, total

HARD = 1000.0
UNEQUAL = 40.0
"""Price of a heat one pilot larger or smaller than need be: below any hard rule, above any margin."""

SOFTNESS = 4.0
"""Exponent of the mean over heats; high enough that the worst heat decides."""

SHORTFALL_CLIFF, SHORTFALL = 20.0, 3.0
"""Price of a heat below the margin that a round must keep, and of each dB that it lacks."""

HOTTEST_DB, COLDEST_DB = 3.0, 0.02
"""Temperatures in dB between which a round is annealed."""

MENDING_DB = 0.1
"""Temperature from which a round is bettered that is good already."""


class Round(NamedTuple):
    """What a round must keep to. N pilots, H heats.

    takes_part   (N,)   bool
    allowed      (N, H) bool: heats this pilot may fly in
    apart        (N, N) bool
    together     (N, N) bool
    kind         (N,)   int, pilots who may only exchange heats with one of their own kind; -1: free to go anywhere
    met          (N, N) int, how often two pilots have met before
    usable       (N, m) bool, channels that may be tried
    current      (N,)   int, channel index that counts as no change, or -1
    most_changes int    most pilots on another channel than their current one
    smallest, largest, capacity   sizes of a heat: fair, fair, and the most that may fly
    can_retune   bool   whether channels may be moved at all
    target_load  0 to lower the worst load as far as it goes, else the load that a heat may have for nothing
    repeat_price, channel_price   in dB, of a pair that meets again and of a channel in use
    """

    takes_part: np.ndarray
    allowed: np.ndarray
    apart: np.ndarray
    together: np.ndarray
    kind: np.ndarray
    met: np.ndarray
    usable: np.ndarray
    current: np.ndarray
    most_changes: int
    smallest: int
    largest: int
    capacity: int
    can_retune: bool
    target_load: float
    repeat_price: float
    channel_price: float


@compiled_part
def _next(random):
    """Next number of a xorshift generator (Marsaglia 2003), 0 up to 1."""
    x = random[0]
    x ^= x << np.uint64(13)
    x ^= x >> np.uint64(7)
    x ^= x << np.uint64(17)
    random[0] = x
    return (x >> np.uint64(11)) * 1.1102230246251565e-16


@compiled_part
def _pick(random, count):
    return int(_next(random) * count)


@compiled_part
def _members(heat_of, heat):
    count = 0
    for pilot in range(heat_of.shape[0]):
        count += heat_of[pilot] == heat
    members = np.empty(count, dtype=np.int64)
    count = 0
    for pilot in range(heat_of.shape[0]):
        if heat_of[pilot] == heat:
            members[count] = pilot
            count += 1
    return members


@compiled_part
def _rules(gear, rules, heat_of, channel, heat):
    """Broken hard rules of a heat, its price of size, and the pairs in it that meet again."""
    members = _members(heat_of, heat)
    count = len(members)
    broken = max(0, count - rules.capacity) * 1.0
    unequal = max(0, count - rules.largest) + max(0, rules.smallest - count)
    again = 0
    for x in range(count):
        pilot = members[x]
        broken += not rules.allowed[pilot, heat]
        for other in range(heat_of.shape[0]):
            if rules.together[pilot, other] and heat_of[other] >= 0 and heat_of[other] != heat:
                broken += 0.5
        for y in range(x):
            other = members[y]
            broken += rules.apart[pilot, other]
            broken += abs(gear.mhz[channel[pilot]] - gear.mhz[channel[other]]) < gear.spacing_mhz
            again += rules.met[pilot, other] > 0
    return broken, unequal, again


@compiled_inside
def _worst_load(gear, heat_of, channel, heat):
    members = _members(heat_of, heat)
    count = len(members)
    if count == 0:
        return 0.0
    load = np.empty(count)
    stressed = np.empty(count)
    mhz = np.empty(count, dtype=np.int64)
    for x in range(count):
        mhz[x] = gear.mhz[channel[members[x]]]
    heat_loads(gear, members, mhz, load, stressed)
    worst = 0.0
    for x in range(count):
        worst = max(worst, load[x])
    return worst


@compiled_part
def _margin_price(rules, loads):
    """Smoothed worst load in dB, or what the heats lack to the target."""
    if rules.target_load > 0.0:
        price = 0.0
        for load in loads:
            if load > rules.target_load:
                price += SHORTFALL_CLIFF + SHORTFALL * 10.0 * np.log10(load / rules.target_load)
        return price
    total = 1e-60
    for load in loads:
        total += load**SOFTNESS
    return 10.0 * np.log10(total) / SOFTNESS


@compiled_part
def _overall(rules, channel, heat_of):
    """Changes beyond the most allowed (hard), and channels in use."""
    changes = 0
    is_used = np.zeros(rules.usable.shape[1], dtype=np.bool_)
    in_use = 0
    for pilot in range(channel.shape[0]):
        if rules.current[pilot] >= 0 and channel[pilot] != rules.current[pilot]:
            changes += 1
        if heat_of[pilot] >= 0:
            in_use += not is_used[channel[pilot]]
            is_used[channel[pilot]] = True
    return max(0, changes - rules.most_changes), in_use


@compiled
def broken_rules(gear, rules, heats, heat_of, channel):
    """How many hard rules a round breaks: 0 where it is sound, whatever its margins are."""
    total = 0.0
    for heat in range(heats):
        broken, _, _ = _rules(gear, rules, heat_of, channel, heat)
        total += broken
    beyond, _ = _overall(rules, channel, heat_of)
    return total + beyond


@compiled_inside
def _energy(rules, broken, unequal, again, loads, beyond, in_use):
    return (
        HARD * (total(broken) + beyond)
        + UNEQUAL * total(unequal)
        + _margin_price(rules, loads)
        + rules.repeat_price * total(again)
        + rules.channel_price * in_use
    )


@compiled_inside
def _propose(rules, random, heat_of, channel, heats, new_heat, new_channel):
    """Write a move into new_heat and new_channel, both full copies; False when nothing would change.

    Where it is False both are as they were.
    """
    count = heat_of.shape[0]
    pilot = _pick(random, count)
    if heat_of[pilot] < 0:
        return False
    kind = _next(random)
    if rules.can_retune and kind < 0.35:
        channel_count = rules.usable.shape[1]
        f = _pick(random, channel_count)
        if kind < 0.15:
            # A channel that somebody holds already keeps the day's set small.
            f = channel[_pick(random, count)]
        if kind < 0.03 and rules.current[pilot] >= 0:
            f = rules.current[pilot]
        if not rules.usable[pilot, f] or f == channel[pilot]:
            return False
        new_channel[pilot] = f
        return True
    if kind < 0.5:
        heat = _pick(random, heats)
        if heat == heat_of[pilot] or rules.kind[pilot] >= 0:
            return False
        new_heat[pilot] = heat
        return True
    other = _pick(random, count)
    if other == pilot or heat_of[other] < 0:
        return False
    if rules.can_retune and kind < 0.8:
        if not rules.usable[pilot, channel[other]] or not rules.usable[other, channel[pilot]]:
            return False
        new_channel[pilot] = channel[other]
        new_channel[other] = channel[pilot]
        if kind < 0.65:
            return channel[pilot] != channel[other]
    if heat_of[other] == heat_of[pilot] or rules.kind[other] != rules.kind[pilot]:
        new_channel[pilot] = channel[pilot]
        new_channel[other] = channel[other]
        return False
    new_heat[pilot] = heat_of[other]
    new_heat[other] = heat_of[pilot]
    return True


@compiled
def improve(gear, rules, heats, heat_of, channel, steps, from_db, to_db, random):
    """Improve heat_of (N,) and channel (N,) in place; -1 in heat_of is a pilot who sits the round out.

    heats   number of heats; from_db, to_db: temperature at start and end, in dB; random (1,) uint64, not zero

    Returns the energy of what is left in heat_of and channel, the best seen.
    """
    broken = np.empty(heats)
    unequal = np.empty(heats)
    again = np.empty(heats)
    loads = np.empty(heats)
    for heat in range(heats):
        broken[heat], unequal[heat], again[heat] = _rules(gear, rules, heat_of, channel, heat)
        loads[heat] = _worst_load(gear, heat_of, channel, heat)
    beyond, in_use = _overall(rules, channel, heat_of)
    energy = _energy(rules, broken, unequal, again, loads, beyond, in_use)
    best = energy
    best_heat = heat_of.copy()
    best_channel = channel.copy()
    new_heat = heat_of.copy()
    new_channel = channel.copy()
    touched = np.empty(heats, dtype=np.bool_)
    cooling = (to_db / from_db) ** (1.0 / max(1, steps))
    temperature = from_db
    for _ in range(steps):
        temperature *= cooling
        if not _propose(rules, random, heat_of, channel, heats, new_heat, new_channel):
            continue
        touched[:] = False
        for pilot in range(heat_of.shape[0]):
            if new_heat[pilot] != heat_of[pilot] or new_channel[pilot] != channel[pilot]:
                touched[heat_of[pilot]] = True
                touched[new_heat[pilot]] = True
        new_broken = broken.copy()
        new_unequal = unequal.copy()
        new_again = again.copy()
        new_loads = loads.copy()
        for heat in range(heats):
            if touched[heat]:
                new_broken[heat], new_unequal[heat], new_again[heat] = _rules(
                    gear, rules, new_heat, new_channel, heat
                )
        new_beyond, new_in_use = _overall(rules, new_channel, new_heat)
        # The sums of a heat cost far more than its rules: leave a move that breaks more rules at once.
        if total(new_broken) + new_beyond <= total(broken) + beyond:
            for heat in range(heats):
                if touched[heat]:
                    new_loads[heat] = _worst_load(gear, new_heat, new_channel, heat)
            trial = _energy(rules, new_broken, new_unequal, new_again, new_loads, new_beyond, new_in_use)
            if trial <= energy or _next(random) < np.exp((energy - trial) / temperature):
                copy_into(heat_of, new_heat)
                copy_into(channel, new_channel)
                copy_into(broken, new_broken)
                copy_into(unequal, new_unequal)
                copy_into(again, new_again)
                copy_into(loads, new_loads)
                beyond = new_beyond
                energy = trial
                if energy < best - 1e-9:
                    best = energy
                    copy_into(best_heat, heat_of)
                    copy_into(best_channel, channel)
        copy_into(new_heat, heat_of)
        copy_into(new_channel, channel)
    copy_into(heat_of, best_heat)
    copy_into(channel, best_channel)
    return best
