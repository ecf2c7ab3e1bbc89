"""Stage 1 of a heat as a model for OR-Tools CP-SAT: the best worst margin, found by a general solver.

Variables: the channel of each pilot as a whole number out of its list and, for each carrier and
product at each receiver, the offset, cut off where the protection ratio has reached its floor.
Each offset selects its load from a table, the loads of a receiver are summed, and the largest sum is
minimised. Loads are whole numbers: ``scale`` of them make a load of one (margin 0 dB), rounded down, so the
optimum is below the true one by at most one unit for each term of a receiver.

Written for the comparison alone, from the levels and protection ratios of ``tests.radio.slow_model``.
"""

import itertools
import math
from typing import NamedTuple

from ortools.sat.python import cp_model

from tests.radio import slow_model
from tests.radio.slow_model import Place


class Solved(NamedTuple):
    """What the solver proved; ``slack`` is the largest sum that rounding down can have hidden."""

    is_optimal: bool
    mhz: tuple[int, ...]
    load: float
    slack: float
    seconds: float

    @property
    def margin_range_db(self):
        """Lowest and highest best worst margin that agree with the rounded answer."""
        return -10 * math.log10(self.load + self.slack), -10 * math.log10(max(self.load, 1e-12))


def best_worst_margin(
    entries, place=None, spacing_mhz=20, seconds=60.0, scale=100_000, workers=2, limit=None
):
    """Solve stage 1 for ``entries`` (see ``tests.allocator.brute_force.Entry``).

    limit   any assignment with no load above it will do; None: the best one
    """
    place = place or Place()
    model = cp_model.CpModel()
    mhz = [
        model.new_int_var_from_domain(cp_model.Domain.from_values(sorted(entry.choices_mhz)), entry.callsign)
        for entry in entries
    ]
    for a, b in itertools.combinations(range(len(entries)), 2):
        _keep_apart(model, mhz[a], mhz[b], entries[a], entries[b], spacing_mhz)
    worst = model.new_int_var(0, 2**40, "worst")
    most_terms = 0
    for listener in range(len(entries)):
        terms = list(_terms(entries, listener, place))
        most_terms = max(most_terms, len(terms))
        loads = [_load(model, mhz, of, listener, weight, place, scale) for of, weight in terms]
        model.add(sum(loads) <= worst)
    _order_equal_pilots(model, mhz, entries)
    if limit is None:
        model.minimize(worst)
    else:
        model.add(worst <= math.floor(scale * limit))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved(status == cp_model.INFEASIBLE, (), math.inf, 0.0, solver.wall_time)
    return Solved(
        status == cp_model.OPTIMAL,
        tuple(solver.value(one) for one in mhz),
        solver.value(worst) / scale,
        most_terms / scale,
        solver.wall_time,
    )


def _keep_apart(model, one, other, entry, other_entry, spacing_mhz):
    close = [(f, g) for f in entry.choices_mhz for g in other_entry.choices_mhz if abs(f - g) < spacing_mhz]
    if close:
        model.add_forbidden_assignments([one, other], close)


def _order_equal_pilots(model, mhz, entries):
    """Exchanging pilots of one gear changes nothing, so the earlier one takes the lower channel."""
    for a, b in itertools.combinations(range(len(entries)), 2):
        if entries[a]._replace(callsign="") == entries[b]._replace(callsign=""):
            model.add(mhz[a] <= mhz[b])


def _terms(entries, listener, place):
    """Each carrier and product: {pilot: +1, +2 or -1} and its load with a protection ratio of 0 dB."""
    flyers = [entry.on(0) for entry in entries]
    wanted = slow_model.wanted_dbm(flyers[listener], place)
    level = [slow_model.heard_dbm(flyers[listener], one, place) for one in flyers]
    others = [pilot for pilot in range(len(entries)) if pilot != listener]
    for a in others:
        yield {a: 1}, 10 ** ((level[a] - wanted) / 10)
    for a, b in itertools.permutations(others, 2):
        yield {a: 2, b: -1}, 10 ** ((2 * level[a] + level[b] - 2 * place.iip3_dbm - wanted) / 10)
    for a, b in itertools.combinations(others, 2):
        for c in (pilot for pilot in others if pilot not in (a, b)):
            beat = level[a] + level[b] + level[c] - 2 * place.iip3_dbm + 20 * math.log10(2)
            yield {a: 1, b: 1, c: -1}, 10 ** ((beat - wanted) / 10)


def _load(model, mhz, of, listener, weight, place, scale):
    """The load of one term: an expression, or a number where the offset cannot change it."""
    reach = 0
    while slow_model.needed_db(reach, place.pr_floor_db) > place.pr_floor_db:
        reach += 1
    table = [
        math.floor(scale * weight * 10 ** (slow_model.needed_db(x, place.pr_floor_db) / 10))
        for x in range(reach + 1)
    ]
    if table[0] == table[-1]:
        return table[0]
    offset = sum(sign * mhz[pilot] for pilot, sign in of.items()) - mhz[listener]
    size = model.new_int_var(0, 10_000, "")
    model.add_abs_equality(size, offset)
    index = model.new_int_var(0, reach, "")
    model.add_min_equality(index, [size, model.new_constant(reach)])
    load = model.new_int_var(table[-1], table[0], "")
    model.add_element(index, table, load)
    return load
