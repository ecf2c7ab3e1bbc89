"""What a heat that is still being filled puts on every channel, kept up to date as pilots join.

A sum over channels is a sum of rows: the protection ratios of all channels against one frequency, weighted by
a level. The frequencies are those of carriers and products, whole MHz, so the rows are made once a heat.

For a receiver already placed the other direction is kept as well: what a newcomer of level L on channel f
would add to it. Its carrier adds L * protection; its products with everybody placed add

    mixing * (L^2 * quadratic[f] + L * linear[f])

since a newcomer takes part once or twice in a product. So every channel of every pilot to come is judged
exactly against everybody placed, before anybody is put there.

Shapes: n pilots, m channels, s receiving senses; rows [d] belong to the first d pilots in ``pilot``.
"""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled_inside, compiled_part
from server.allocator.kernel import STRESS_FACTOR, Gear
from server.allocator.loops import copy_into


class Rows(NamedTuple):
    """Protection ratios as rows over the channels, one for each whole MHz.

    once    (t, m)  row r: between each channel and the frequency once_from + r
    twice   (t, m)  row r: between double each channel and the frequency twice_from + r
    """

    once: np.ndarray
    twice: np.ndarray
    once_from: int
    twice_from: int


class Sums(NamedTuple):
    """Sums with the first d pilots placed, in rows [d].

    pilot       (n,)            who was placed first, second, ...
    channel     (n,)            index of the channel of each placed pilot, by pilot; -1 for none
    carriers    (n, s, m)       level of the placed carriers on every channel, weighted by protection, mW, and
                                of what else is on the air, which is there before anybody is placed
    products    (n, s, m)       the same of their products
    own_carriers, own_products  (n + 1, n)  the same at each placed receiver, its own carrier left out, mW
    quadratic, linear  (n, n, m)  by placed pilot: what a newcomer's products would add there, see above
    """

    pilot: np.ndarray
    channel: np.ndarray
    carriers: np.ndarray
    products: np.ndarray
    own_carriers: np.ndarray
    own_products: np.ndarray
    quadratic: np.ndarray
    linear: np.ndarray


def rows_of(gear: Gear) -> Rows:
    """The rows for all frequencies that carriers and third-order products of these channels can have."""
    lowest, highest = int(gear.mhz[0]), int(gear.mhz[-1])
    once_from = 2 * lowest - highest
    once = np.arange(once_from, 2 * highest - lowest + 1)
    twice = np.arange(2 * lowest, 2 * highest + 1)
    last = len(gear.protection) - 1

    def rows(mhz: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
        return gear.protection[np.minimum(np.abs(mhz[np.newaxis, :] - frequencies[:, np.newaxis]), last)]

    return Rows(rows(gear.mhz, once), rows(2 * gear.mhz, twice), once_from, 2 * lowest)


def new_sums(gear: Gear) -> Sums:
    """Nobody placed."""
    n, m = gear.usable.shape
    s = gear.level_mw.shape[0]
    carriers = np.zeros((n, s, m))
    if gear.background.size:
        carriers[:1] = gear.background[gear.mhz - gear.background_mhz]
    return Sums(
        pilot=np.zeros(n, dtype=np.int64),
        channel=np.full(n, -1, dtype=np.int64),
        carriers=carriers,
        products=np.zeros((n, s, m)),
        own_carriers=np.zeros((n + 1, n)),
        own_products=np.zeros((n + 1, n)),
        quadratic=np.zeros((n, n, m)),
        linear=np.zeros((n, n, m)),
    )


@compiled_part
def _add(target, factor, row):
    for f in range(target.shape[0]):
        target[f] += factor * row[f]


@compiled_part
def _add_threefold(target, factor, rows, newcomer_mhz, one_mhz, other_mhz):
    """Add the three products in which a newcomer and two others take part once each."""
    first = rows.once[newcomer_mhz + one_mhz - other_mhz - rows.once_from]
    second = rows.once[newcomer_mhz + other_mhz - one_mhz - rows.once_from]
    third = rows.once[one_mhz + other_mhz - newcomer_mhz - rows.once_from]
    for f in range(target.shape[0]):
        target[f] += factor * (first[f] + second[f] + third[f])


@compiled_part
def place(gear, rows, sums, depth, newcomer, f):
    """Put a newcomer on channel f beside the first ``depth`` pilots: fill the rows [depth + 1]."""
    count = gear.usable.shape[0]
    below = depth + 1
    newcomer_mhz = gear.mhz[f]
    sums.pilot[depth] = newcomer
    sums.channel[newcomer] = f
    for x in range(depth):
        listener = sums.pilot[x]
        mine = gear.level_mw[gear.sense[listener], newcomer]
        at = sums.channel[listener]
        sums.own_carriers[below, listener] = (
            sums.own_carriers[depth, listener] + mine * rows.once[newcomer_mhz - rows.once_from, at]
        )
        sums.own_products[below, listener] = sums.own_products[depth, listener] + gear.mixing * mine * (
            mine * sums.quadratic[depth, listener, f] + sums.linear[depth, listener, f]
        )
    sums.own_carriers[below, newcomer] = sums.carriers[depth, gear.sense[newcomer], f]
    sums.own_products[below, newcomer] = sums.products[depth, gear.sense[newcomer], f]
    if below < count:
        _update_channels(gear, rows, sums, depth, newcomer, newcomer_mhz)
        for x in range(depth):
            _update_listener(gear, rows, sums, depth, sums.pilot[x], newcomer, newcomer_mhz)


@compiled_inside
def _update_channels(gear, rows, sums, depth, newcomer, newcomer_mhz):
    """What every channel hears with the newcomer, and what its own receiver would hear of one more."""
    below = depth + 1
    quadratic = sums.quadratic[below, newcomer]
    linear = sums.linear[below, newcomer]
    quadratic[:] = 0.0
    linear[:] = 0.0
    for sense in range(gear.level_mw.shape[0]):
        level = gear.level_mw[sense]
        mine = level[newcomer]
        carriers = sums.carriers[below, sense]
        products = sums.products[below, sense]
        copy_into(carriers, sums.carriers[depth, sense])
        copy_into(products, sums.products[depth, sense])
        _add(carriers, mine, rows.once[newcomer_mhz - rows.once_from])
        for x in range(depth):
            theirs = level[sums.pilot[x]]
            where = gear.mhz[sums.channel[sums.pilot[x]]]
            _add(
                products,
                gear.mixing * mine * mine * theirs,
                rows.once[2 * newcomer_mhz - where - rows.once_from],
            )
            _add(
                products,
                gear.mixing * theirs * theirs * mine,
                rows.once[2 * where - newcomer_mhz - rows.once_from],
            )
            for y in range(x):
                other = sums.pilot[y]
                _add_threefold(
                    products,
                    4.0 * gear.mixing * mine * theirs * level[other],
                    rows,
                    newcomer_mhz,
                    where,
                    gear.mhz[sums.channel[other]],
                )
        if sense != gear.sense[newcomer]:
            continue
        for x in range(depth):
            theirs = level[sums.pilot[x]]
            where = gear.mhz[sums.channel[sums.pilot[x]]]
            _add(quadratic, theirs, rows.twice[where + newcomer_mhz - rows.twice_from])
            _add(linear, theirs * theirs, rows.once[2 * where - newcomer_mhz - rows.once_from])
            for y in range(x):
                other = sums.pilot[y]
                _add_threefold(
                    linear,
                    4.0 * theirs * level[other],
                    rows,
                    newcomer_mhz,
                    where,
                    gear.mhz[sums.channel[other]],
                )


@compiled_inside
def _update_listener(gear, rows, sums, depth, listener, newcomer, newcomer_mhz):
    """What a receiver placed before would hear of one more pilot, now that the newcomer is there."""
    below = depth + 1
    level = gear.level_mw[gear.sense[listener]]
    mine = level[newcomer]
    at = gear.mhz[sums.channel[listener]]
    quadratic = sums.quadratic[below, listener]
    linear = sums.linear[below, listener]
    copy_into(quadratic, sums.quadratic[depth, listener])
    copy_into(linear, sums.linear[depth, listener])
    _add(quadratic, mine, rows.twice[at + newcomer_mhz - rows.twice_from])
    _add(linear, mine * mine, rows.once[2 * newcomer_mhz - at - rows.once_from])
    for x in range(depth):
        other = sums.pilot[x]
        if other != listener:
            _add_threefold(
                linear, 4.0 * mine * level[other], rows, at, gear.mhz[sums.channel[other]], newcomer_mhz
            )


@compiled_part
def newcomer_loads(gear, rows, sums, depth, newcomer, load, stressed):
    """Fill load and stressed (m,): the largest of the whole heat with a newcomer on each channel."""
    own = gear.sense[newcomer]
    wanted = gear.wanted_mw[newcomer]
    for f in range(load.shape[0]):
        load[f] = (sums.carriers[depth, own, f] + sums.products[depth, own, f]) / wanted
        stressed[f] = (sums.carriers[depth, own, f] + STRESS_FACTOR * sums.products[depth, own, f]) / wanted
    for x in range(depth):
        listener = sums.pilot[x]
        mine = gear.level_mw[gear.sense[listener], newcomer]
        row = rows.once[gear.mhz[sums.channel[listener]] - rows.once_from]
        quadratic = sums.quadratic[depth, listener]
        linear = sums.linear[depth, listener]
        carriers = sums.own_carriers[depth, listener]
        products = sums.own_products[depth, listener]
        wanted = gear.wanted_mw[listener]
        for f in range(load.shape[0]):
            more = gear.mixing * mine * (mine * quadratic[f] + linear[f])
            heard = carriers + mine * row[f]
            load[f] = max(load[f], (heard + products + more) / wanted)
            stressed[f] = max(stressed[f], (heard + STRESS_FACTOR * (products + more)) / wanted)
