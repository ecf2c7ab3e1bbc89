"""One heat judged and enumerated without the program: every assignment, all six stages, no cleverness.

The order of preference, each stage among what the stages before it left:

1. the best worst margin W*;
2. worst margin at least W* - 0.5 dB: the best stressed worst margin;
3. stressed worst margin at least that best - 0.5 dB: fewest pilots moved from their current channel;
4. fewest pilots on a channel outside the day's set;
5. widest distance between the two closest pilots;
6. margins rounded to 0.1 dB and sorted from the worst, lexicographically best; then the lowest
   frequencies: the sorted list of channels, then the channels in the order of the roster.

Margins are built from the levels and protection ratios of ``tests.radio.slow_model``, one decibel term
after another; only the loop over assignments is an array, so that 100 000 of them take no minute. A heat is
written as ``Entry`` rows, which know nothing of the planner's own classes.
"""

import itertools
import math
from typing import NamedTuple

import numpy as np

from tests.radio import slow_model
from tests.radio.slow_model import Flyer, Place

SAME_DB = 1e-7
"""Margins closer than this are one number: rounding of sums, far below what the stages tell apart."""


class Entry(NamedTuple):
    """One pilot: what may be chosen (tunable, pinned, not banned), and the gear."""

    callsign: str
    choices_mhz: tuple[int, ...]
    power_mw: float = 25
    antenna: str = "rhcp"
    rx_antenna: str = "rhcp"
    gain_dbi: float = 0
    current_mhz: int | None = None

    def on(self, mhz):
        return Flyer(self.callsign, mhz, self.power_mw, self.antenna, self.rx_antenna, self.gain_dbi)


class Judged(NamedTuple):
    """All assignments that keep the hard rules; row by row in one order.

    mhz       (r, n) int, r assignments in lexicographic order
    margins   (r, n) dB
    stressed  (r, n) dB
    """

    mhz: np.ndarray
    margins: np.ndarray
    stressed: np.ndarray


class Verdict(NamedTuple):
    """What enumeration found; ``mhz`` empty where the hard rules leave nothing."""

    best_worst_db: float
    best_stressed_db: float
    changes: int
    outside: int
    closest_mhz: int
    tenths: tuple[int, ...]
    mhz: tuple[int, ...]


def assignments(entries, spacing_mhz):
    """(r, n) MHz of everything that keeps the spacing, in lexicographic order."""
    choices = [sorted(entry.choices_mhz) for entry in entries]
    rows = np.array(list(itertools.product(*choices)), dtype=np.int64).reshape(-1, len(entries))
    for a, b in itertools.combinations(range(len(entries)), 2):
        rows = rows[np.abs(rows[:, a] - rows[:, b]) >= spacing_mhz]
    return rows


def judge(entries, place=None, spacing_mhz=20):
    """Margins of every assignment."""
    place = place or Place()
    rows = assignments(entries, spacing_mhz)
    margins = [_margins(entries, rows, listener, place) for listener in range(len(entries))]
    lower = place._replace(iip3_dbm=place.iip3_dbm - 10)
    stressed = [_margins(entries, rows, listener, lower) for listener in range(len(entries))]
    return Judged(rows, np.array(margins).T, np.array(stressed).T)


def _margins(entries, rows, listener, place):
    """(r,) margins of one receiver in every assignment."""
    level, needed = heard_levels_dbm(entries, listener, place), _needed(place)
    own = rows[:, listener]
    total = np.zeros(len(rows))
    for of, level_dbm in heard_terms(level, listener, place):
        by_offset = 10 ** ((level_dbm + needed) / 10)
        at = sum(sign * rows[:, pilot] for pilot, sign in of) - own
        total += by_offset[np.minimum(np.abs(at), len(needed) - 1)]
    for mhz in np.unique(own) if place.outside else ():
        heard = slow_model.outside_terms(entries[listener].on(int(mhz)), place)
        wanted = slow_model.wanted_dbm(entries[listener].on(0), place)
        total[own == mhz] += sum(10 ** ((wanted - term.margin_db) / 10) for term in heard)
    wanted = slow_model.wanted_dbm(entries[listener].on(0), place)
    with np.errstate(divide="ignore"):
        return wanted - 10 * np.log10(total)


def heard_levels_dbm(entries, listener, place):
    return [slow_model.heard_dbm(entries[listener].on(0), entry.on(0), place) for entry in entries]


def _needed(place):
    return np.array([slow_model.needed_db(x, place.pr_floor_db) for x in range(200)])


def heard_terms(level, listener, place):
    """Each carrier and product of the others: [(pilot, +1, +2 or -1), ...] and its level in dBm."""
    others = [pilot for pilot in range(len(level)) if pilot != listener]
    for a in others:
        yield [(a, 1)], level[a]
    for a, b in itertools.permutations(others, 2):
        yield [(a, 2), (b, -1)], 2 * level[a] + level[b] - 2 * place.iip3_dbm
    for a, b in itertools.combinations(others, 2):
        for c in others:
            if c not in (a, b):
                beat = level[a] + level[b] + level[c] - 2 * place.iip3_dbm + 20 * math.log10(2)
                yield [(a, 1), (b, 1), (c, -1)], beat


def best_of(entries, judged, day_set_mhz=None, indifference_db=0.5):
    """The six stages over everything that was judged."""
    if not len(judged.mhz):
        return Verdict(-math.inf, -math.inf, 0, 0, 0, (), ())
    worst, stressed = judged.margins.min(axis=1), judged.stressed.min(axis=1)
    best_worst = worst.max()
    left = np.flatnonzero(worst >= best_worst - indifference_db - SAME_DB)
    best_stressed = stressed[left].max()
    left = left[stressed[left] >= best_stressed - indifference_db - SAME_DB]
    facts = {row: _facts(entries, judged, row, day_set_mhz) for row in left}
    chosen = min(left, key=lambda row: facts[row])
    changes, outside, lost, tenths, _, mhz = facts[chosen]
    return Verdict(best_worst, best_stressed, changes, outside, -lost, tuple(-t for t in tenths), mhz)


def _facts(entries, judged, row, day_set_mhz):
    """What stages 3 to 6 compare, smaller is better."""
    mhz = tuple(int(f) for f in judged.mhz[row])
    changes = sum(
        entry.current_mhz is not None and entry.current_mhz != f
        for entry, f in zip(entries, mhz, strict=True)
    )
    outside = sum(day_set_mhz is not None and f not in day_set_mhz for f in mhz)
    closest = min((abs(a - b) for a, b in itertools.combinations(mhz, 2)), default=100_000)
    tenths = sorted(tenths_of(margin) for margin in judged.margins[row])
    return changes, outside, -closest, tuple(-t for t in tenths), tuple(sorted(mhz)), mhz


def tenths_of(margin_db):
    """A margin rounded to 0.1 dB, in whole tenths; very large for nothing heard."""
    return 10_000 if math.isinf(margin_db) else math.floor(margin_db * 10 + 0.5)


def best(entries, place=None, spacing_mhz=20, day_set_mhz=None, indifference_db=0.5):
    """The answer of enumeration to one heat."""
    return best_of(entries, judge(entries, place, spacing_mhz), day_set_mhz, indifference_db)


def facts_of(entries, mhz, place=None, day_set_mhz=None):
    """A Verdict of one given assignment, its own worst margins in place of the best."""
    place = place or Place()
    one = [entry._replace(choices_mhz=(f,)) for entry, f in zip(entries, mhz, strict=True)]
    judged = judge(one, place, 0)
    changes, outside, lost, tenths, _, mhz = _facts(one, judged, 0, day_set_mhz)
    worst, stressed = judged.margins.min(), judged.stressed.min()
    return Verdict(worst, stressed, changes, outside, -lost, tuple(-t for t in tenths), mhz)
