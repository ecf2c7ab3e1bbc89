"""The model of a heat written a second time, slowly, to judge the first.

Plain Python, no NumPy, nothing from the program: one decibel formula after another, one term after another.
It was written from the description of the model, not from the code.

Free-space loss    L = 20 log10(4 pi d f / c), f one reference for all paths
Level              P = power + antenna gain + receiving gain - L - X; X where circular senses are opposite
Worst moment       own aircraft at the far distance, all others at the near one
Protection ratio   28 dB to 8.36 MHz; -2.762 x + 51.09 to 12.87; -1.154 x + 30.4 to 21.25; -2 x + 48.38; floor
Outside signals    the mean of PR as powers over the block, in parts of a tenth of a MHz
Products           2a - b: 2 Pa + Pb - 2 IIP3;  a + b - c: Pa + Pb + Pc - 2 IIP3 + 20 log10 2
Term margin        m = C - level - PR(offset);  slot margin M = -10 log10 sum 10^(-m/10)
Grade              12.5 - 20 log10(15.6/12) - Q + 1.1 Q^2 = 28 + M, found by halving an interval
"""

import math
from typing import NamedTuple

OPPOSITE = (("rhcp", "lhcp"), ("lhcp", "rhcp"))


class Place(NamedTuple):
    """Distances and receiver, with the default of every number; `outside` has centre_mhz, width_mhz, level_dbm."""

    near_m: float = 8
    far_m: float = 80
    reference_mhz: float = 5800
    rx_gain_dbi: float = 2
    iip3_dbm: float = -10
    noise_figure_db: float = 6
    if_bandwidth_mhz: float = 27
    pr_floor_db: float = -28
    cross_polar_db: float = 6
    mismatch_linear_db: float = 3
    mismatch_opposite_db: float = 10
    outside: tuple = ()


class Flyer(NamedTuple):
    """One pilot in the air."""

    callsign: str
    mhz: int
    power_mw: float = 25
    antenna: str = "rhcp"
    rx_antenna: str = "rhcp"
    gain_dbi: float = 0


class SlowTerm(NamedTuple):
    """One carrier or product at one receiver; ``of`` names its makers, a doubled one twice, minus last."""

    of: tuple[str, ...]
    offset_mhz: int
    margin_db: float


def place_of(site) -> Place:
    """The same numbers, read from a site of the program."""
    return Place(
        **{name: getattr(site if hasattr(site, name) else site.receiver, name) for name in Place._fields}
    )


def loss_db(distance_m, place):
    return 20 * math.log10(4 * math.pi * distance_m * place.reference_mhz * 1e6 / 299792458)


def wanted_dbm(flyer, place):
    level = 10 * math.log10(flyer.power_mw) + flyer.gain_dbi + place.rx_gain_dbi - loss_db(place.far_m, place)
    if (flyer.antenna, flyer.rx_antenna) in OPPOSITE:
        return level - place.mismatch_opposite_db
    if flyer.antenna != flyer.rx_antenna:
        return level - place.mismatch_linear_db
    return level


def heard_dbm(listener, talker, place):
    level = (
        10 * math.log10(talker.power_mw) + talker.gain_dbi + place.rx_gain_dbi - loss_db(place.near_m, place)
    )
    if (talker.antenna, listener.rx_antenna) in OPPOSITE:
        level -= place.cross_polar_db
    return level


def needed_db(offset_mhz, floor_db):
    x = abs(offset_mhz)
    if x <= 8.36:
        template = 28.0
    elif x <= 12.87:
        template = -2.762 * x + 51.09
    elif x <= 21.25:
        template = -1.154 * x + 30.4
    else:
        template = -2 * x + 48.38
    return max(template, floor_db)


def block_needed_db(offset_mhz, width_mhz, floor_db):
    parts = max(1, math.ceil(width_mhz * 10))
    start = offset_mhz - width_mhz / 2
    ratios = [
        10 ** (needed_db(start + width_mhz * (part + 0.5) / parts, floor_db) / 10) for part in range(parts)
    ]
    return 10 * math.log10(math.fsum(ratios) / parts)


def outside_terms(listener, place):
    """What else is on the air at one receiver."""
    wanted = wanted_dbm(listener, place)
    return [
        SlowTerm(
            (one.words,),
            round(one.centre_mhz) - listener.mhz,
            wanted
            - one.level_dbm
            - block_needed_db(one.centre_mhz - listener.mhz, one.width_mhz, place.pr_floor_db),
        )
        for one in place.outside
    ]


def terms(listener, heat, place):
    """Every term at one receiver, over the other pilots of the heat."""
    others = [flyer for flyer in heat if flyer.callsign != listener.callsign]
    wanted = wanted_dbm(listener, place)
    level = {flyer.callsign: heard_dbm(listener, flyer, place) for flyer in others}
    found = []

    def note(makers, mhz, level_dbm):
        offset = mhz - listener.mhz
        names = tuple(flyer.callsign for flyer in makers)
        found.append(SlowTerm(names, offset, wanted - level_dbm - needed_db(offset, place.pr_floor_db)))

    for a in others:
        note((a,), a.mhz, level[a.callsign])
        for b in others:
            if b is not a:
                two = 2 * level[a.callsign] + level[b.callsign] - 2 * place.iip3_dbm
                note((a, a, b), 2 * a.mhz - b.mhz, two)
    for x, a in enumerate(others):
        for b in others[x + 1 :]:
            for c in others:
                if c is not a and c is not b:
                    three = level[a.callsign] + level[b.callsign] + level[c.callsign] - 2 * place.iip3_dbm
                    note((a, b, c), a.mhz + b.mhz - c.mhz, three + 20 * math.log10(2))
    return found + outside_terms(listener, place)


def total_db(margins):
    """The margin that several terms leave together; infinite for none."""
    if not margins:
        return math.inf
    return -10 * math.log10(math.fsum(10 ** (-m / 10) for m in margins))


def margin_db(listener, heat, place):
    return total_db([term.margin_db for term in terms(listener, heat, place)])


def stressed_margin_db(listener, heat, place, lower_db=10):
    return margin_db(listener, heat, place._replace(iip3_dbm=place.iip3_dbm - lower_db))


def link_margin_db(flyer, place):
    noise_w = 1.380649e-23 * 290 * place.if_bandwidth_mhz * 1e6
    return wanted_dbm(flyer, place) - (10 * math.log10(noise_w) + 30 + place.noise_figure_db) - 10


def grade(margin):
    """Grade to one decimal, by halving the interval 1 to 5 in which the ratio grows with the grade."""
    low, high = 1.0, 5.0
    for _ in range(60):
        middle = (low + high) / 2
        ratio = 12.5 - 20 * math.log10(15.6 / 12) - middle + 1.1 * middle**2
        low, high = (middle, high) if ratio < 28 + margin else (low, middle)
    return round((low + high) / 2, 1)
