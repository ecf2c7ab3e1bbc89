"""Two more ways to put stage 1 of a heat of equal gear to OR-Tools CP-SAT, so that the comparison is honest.

``cp_sat_heat.py`` gives each pilot a channel and looks loads up by offset. Here

* ``chosen_channels``: with equal gear the load of a channel depends on the set of channels in use alone. A yes or
  no for each channel, one for each pair and triple of them in use together, and for every channel in use the
  sum of what carriers and products put there;
* ``bisected``: the offsets of ``cp_sat_heat.py`` again, as a question: is there an assignment with no load above
  a limit? The limit is halved in until it is within a hundredth of a dB.

Written for the comparison alone, from the levels and protection ratios of ``tests.radio.slow_model``.
"""

import itertools
import math
import time

from ortools.sat.python import cp_model

from tests.benchmarks import cp_sat_heat
from tests.benchmarks.cp_sat_heat import Solved
from tests.radio import slow_model
from tests.radio.slow_model import Place

CLOSE_ENOUGH_DB = 0.01


def chosen_channels(entries, place=None, spacing_mhz=20, seconds=60.0, scale=100_000, workers=2):
    """Solve stage 1 for entries of one gear as a choice of channels."""
    place = place or Place()
    flyers = [entry.on(0) for entry in entries]
    wanted = slow_model.wanted_dbm(flyers[0], place)
    level = slow_model.heard_dbm(flyers[0], flyers[1], place)
    carrier = 10 ** ((level - wanted) / 10)
    double = 10 ** ((3 * level - 2 * place.iip3_dbm - wanted) / 10)
    mhz = sorted(entries[0].choices_mhz)
    model = cp_model.CpModel()
    used = [model.new_bool_var(f"{f}") for f in mhz]
    model.add(sum(used) == len(entries))
    for a, b in itertools.combinations(range(len(mhz)), 2):
        if mhz[b] - mhz[a] < spacing_mhz:
            model.add_bool_or(used[a].negated(), used[b].negated())
    worst = model.new_int_var(0, 2**40, "worst")
    products = [
        (2 * mhz[a] - mhz[b], double, (a, b)) for a, b in itertools.permutations(range(len(mhz)), 2)
    ] + [
        (mhz[a] + mhz[b] - mhz[c], 4 * double, (a, b, c))
        for a, b in itertools.combinations(range(len(mhz)), 2)
        for c in range(len(mhz))
        if c not in (a, b)
    ]
    together = _together(model, used, mhz, spacing_mhz)
    for listener, at_mhz in enumerate(mhz):
        weights = {}
        for other, at in enumerate(mhz):
            if other != listener:
                _weigh(weights, (other,), carrier, at - at_mhz, place, scale)
        for at, size, of in products:
            if listener not in of and tuple(sorted(of)) in together:
                _weigh(weights, tuple(sorted(of)), size, at - at_mhz, place, scale)
        load = sum(weight * together[of] for of, weight in weights.items())
        model.add(load <= worst).only_enforce_if(used[listener])
    model.minimize(worst)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved(status == cp_model.INFEASIBLE, (), math.inf, 0.0, solver.wall_time)
    chosen = tuple(f for f, one in zip(mhz, used, strict=True) if solver.value(one))
    terms_a_listener = (len(entries) - 1) ** 3
    return Solved(
        status == cp_model.OPTIMAL,
        chosen,
        solver.objective_value / scale,
        terms_a_listener / scale,
        solver.wall_time,
    )


def _together(model, used, mhz, spacing_mhz):
    """For every one, two or three channels that may be in use at once, whether they are."""
    found = {(a,): one for a, one in enumerate(used)}
    for size in (2, 3):
        for of in itertools.combinations(range(len(mhz)), size):
            if min(mhz[b] - mhz[a] for a, b in itertools.pairwise(of)) < spacing_mhz:
                continue
            all_of = model.new_bool_var("")
            # Loads are minimised, so that being in use together must count is enough.
            model.add_bool_or([all_of, *(used[a].negated() for a in of)])
            found[of] = all_of
    return found


def _weigh(weights, of, size, offset_mhz, place, scale):
    needed = 10 ** (slow_model.needed_db(abs(offset_mhz), place.pr_floor_db) / 10)
    weights[of] = weights.get(of, 0) + math.floor(scale * size * needed)


def bisected(entries, place=None, spacing_mhz=20, seconds=60.0, scale=100_000, workers=2):
    """Solve stage 1 as a row of yes-or-no questions."""
    began = time.perf_counter()
    low, high = 1e-3, 1e4
    best = Solved(False, (), math.inf, 0.0, 0.0)
    while 10 * math.log10(high / low) > CLOSE_ENOUGH_DB:
        left = seconds - (time.perf_counter() - began)
        if left <= 0:
            return best._replace(is_optimal=False, seconds=time.perf_counter() - began)
        limit = math.sqrt(low * high)
        found = cp_sat_heat.best_worst_margin(entries, place, spacing_mhz, left, scale, workers, limit)
        if found.mhz:
            best, high = found, found.load + found.slack
        elif found.is_optimal:
            low = limit
        else:
            return best._replace(is_optimal=False, seconds=time.perf_counter() - began)
    return best._replace(is_optimal=True, seconds=time.perf_counter() - began)
