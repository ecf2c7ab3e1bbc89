"""The compiled core: interference sums of a heat.

Everything is linear here. The *load* of a receiver is its interference, weighted by the protection
ratio, over its wanted carrier: margin = -10 log10(load). Carriers and products are kept apart, because
the stressed load only re-weights the second: load = carriers + products, stressed = carriers + 100
products. A worst margin of at least T is a largest load of at most 10^(-T/10), so searches compare
sums and take no logarithm before the last stage.

Shapes: n pilots, m channels (ascending MHz), s receiving senses that occur.
"""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled, compiled_part

WORST, STRESSED, CHOICE = 1, 2, 3
"""What a search minimises: the largest load; the largest stressed load; the preferences after them."""

STRESS_FACTOR = 100.0
"""Products grow by twice the 10 dB that the intercept point falls."""

TIE = 1e-9
"""Relative difference below which two loads are the same number."""


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
    background   (b,)   mW of what else is on the air, weighted by protection, by whole MHz of the receiver's
                 tuning from background_mhz on; empty where there is nothing
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
    background: np.ndarray
    background_mhz: int


@compiled_part
def _protection(gear, offset_mhz):
    last = gear.protection.shape[0] - 1
    return gear.protection[min(abs(offset_mhz), last)]


@compiled_part
def background_at(gear, mhz):
    """What else is on the air, mW weighted by protection, for a receiver tuned to whole MHz."""
    place = mhz - gear.background_mhz
    if 0 <= place < gear.background.shape[0]:
        return gear.background[place]
    return 0.0


@compiled_part
def _add_background(gear, pilots, mhz, load, stressed):
    """Add what else is on the air to the loads of a heat, as in `heat_loads`; no product is made with it."""
    for x in range(len(pilots)):
        outside = background_at(gear, mhz[x]) / gear.wanted_mw[pilots[x]]
        load[x] += outside
        stressed[x] += outside


@compiled_part
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
    # Apart, since within the loop it would add two thirds to the time of every heat, with nothing on the air too.
    if gear.background.shape[0] > 0:
        _add_background(gear, pilots, mhz, load, stressed)
