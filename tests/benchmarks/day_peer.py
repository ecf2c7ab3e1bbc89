"""The first round of a day by another algorithm, to see what the planner leaves lying.

Large neighbourhood search: a few pilots, most of them from the worst heats, are taken out of the round and put
back one by one, each where the loads of the heats suffer least, over all heats and channels; late acceptance
(Burke and Bykov 2017) decides whether the new round stays. Now and then whole heats are taken apart. It shares the
model (``kernel.heat_loads``) with the planner and none of its search; nothing is taken from the planner but the
powers.

    python3 -m server dev tests.benchmarks.day_peer --seed 3 --seconds 600
"""

import argparse
import time

import numpy as np

from server.allocator.compiled import compiled
from server.allocator.kernel import Gear, heat_loads
from server.allocator.power import power_level
from server.allocator.problem import DayProblem
from server.allocator.schedule import allowed_heats, frame_of, pairs, takes_part
from server.allocator.scoring import day_gear
from server.allocator.solve import plan_day
from tests.benchmarks.mixed_roster import mixed_day

HISTORY = 400
"""Rounds back to which late acceptance compares."""

BROKEN = 1e6
POWER = 3.0


def peer_margin_db(problem: DayProblem, powers_mw: tuple[float, ...], seconds: float, seed: int = 1) -> float:
    """The best worst margin in dB that the peer finds for round 1 in so many processor seconds; -inf for none.

    Everybody who comes in round 1 flies in it, heats as equal as can be, the hard rules of the round kept.
    """
    frame = frame_of(problem)
    there = np.flatnonzero(takes_part(problem, frame, 1))
    gear = day_gear(problem, powers_mw)
    best = _search(
        gear,
        there,
        allowed_heats(problem, frame, 1),
        pairs(problem, "apart"),
        pairs(problem, "together"),
        frame.heats,
        -(-len(there) // frame.heats),
        seconds,
        np.random.default_rng(seed),
    )
    return -10.0 * float(np.log10(best)) if best < BROKEN else -np.inf


def _search(gear: Gear, there, allowed, apart, together, heats, most, seconds, dice) -> float:
    ends = time.process_time() + seconds
    count = len(gear.sense)
    heat_of, channel = np.full(count, -1), np.full(count, -1)
    loads = np.zeros(heats)
    order = sorted(there.tolist(), key=lambda one: (gear.usable[one].sum(), dice.random()))
    _put_back(gear, allowed, apart, together, heats, most, np.array(order), heat_of, channel, loads, 0.0, 1)
    cost, best = _cost(loads, heat_of, there), np.inf
    history = np.full(HISTORY, cost)
    for step in range(10**9):
        if time.process_time() > ends:
            break
        out = _taken_out(dice, heat_of, loads, there)
        trial_heat, trial_channel, trial_loads = heat_of.copy(), channel.copy(), loads.copy()
        trial_heat[out] = -1
        for heat in np.unique(heat_of[out]):
            if heat >= 0:
                trial_loads[heat] = _load(gear, trial_heat, trial_channel, heat)
        noise = float(dice.choice([0.0, 0.02, 0.1]))
        seed = int(dice.integers(1, 2**31))
        _put_back(
            gear,
            allowed,
            apart,
            together,
            heats,
            most,
            out,
            trial_heat,
            trial_channel,
            trial_loads,
            noise,
            seed,
        )
        trial = _cost(trial_loads, trial_heat, there)
        if trial <= cost or trial <= history[step % HISTORY]:
            heat_of, channel, loads, cost = trial_heat, trial_channel, trial_loads, trial
            if (heat_of[there] >= 0).all():
                best = min(best, loads.max())
        history[step % HISTORY] = min(history[step % HISTORY], cost)
    return best


def _cost(loads, heat_of, there) -> float:
    return float((loads**POWER).sum() ** (1 / POWER) + loads.max() + BROKEN * (heat_of[there] < 0).sum())


def _taken_out(dice, heat_of, loads, there):
    """Pilots to take out: some of the worst heat and of others, now and then all of two or three heats."""
    heats = len(loads)
    worst = int(loads.argmax()) if dice.random() < 0.8 else int(dice.integers(heats))
    if dice.random() < 0.3:
        picked = {worst, *dice.integers(heats, size=int(dice.integers(1, 3))).tolist()}
        out = there[np.isin(heat_of[there], list(picked))]
    else:
        own = there[heat_of[there] == worst]
        others = there[heat_of[there] != worst]
        own_count = min(len(own), int(dice.integers(1, 4)))
        count = min(len(others), int(dice.integers(1, 6)))
        out = np.concatenate([dice.permutation(own)[:own_count], dice.permutation(others)[:count]])
    absent = there[heat_of[there] < 0]
    return dice.permutation(np.unique(np.concatenate([out, absent])))


@compiled
def _load(gear, heat_of, channel, heat):
    count = 0
    for own in heat_of:
        count += own == heat
    if count < 2:
        return 0.0
    members = np.empty(count, dtype=np.int64)
    mhz = np.empty(count, dtype=np.int64)
    load, stressed = np.empty(count), np.empty(count)
    x = 0
    for pilot in range(len(heat_of)):
        if heat_of[pilot] == heat:
            members[x] = pilot
            mhz[x] = gear.mhz[channel[pilot]]
            x += 1
    heat_loads(gear, members, mhz, load, stressed)
    return load.max()


@compiled
def _fits(gear, allowed, apart, together, most, heat_of, channel, pilot, heat):
    if not allowed[pilot, heat]:
        return False
    size = 0
    for other in range(len(heat_of)):
        if heat_of[other] == heat:
            size += 1
            if apart[pilot, other]:
                return False
        elif heat_of[other] >= 0 and together[pilot, other]:
            return False
    return size < most


@compiled
def _put_back(gear, allowed, apart, together, heats, most, out, heat_of, channel, loads, noise, seed):
    """Put each of ``out`` where the loads grow least; -1 stays for who fits nowhere. In place."""
    np.random.seed(seed)
    for pilot in out:
        best = np.inf
        best_heat = best_channel = -1
        best_load = 0.0
        for heat in range(heats):
            if not _fits(gear, allowed, apart, together, most, heat_of, channel, pilot, heat):
                continue
            for f in range(gear.usable.shape[1]):
                if not gear.usable[pilot, f]:
                    continue
                is_near = False
                for other in range(len(heat_of)):
                    if (
                        heat_of[other] == heat
                        and abs(gear.mhz[channel[other]] - gear.mhz[f]) < gear.spacing_mhz
                    ):
                        is_near = True
                if is_near:
                    continue
                heat_of[pilot] = heat
                channel[pilot] = f
                load = _load(gear, heat_of, channel, heat)
                heat_of[pilot] = -1
                growth = (load**POWER - loads[heat] ** POWER) * (1.0 + noise * np.random.random())
                if growth < best:
                    best, best_heat, best_channel, best_load = growth, heat, f, load
        heat_of[pilot] = best_heat
        channel[pilot] = best_channel
        if best_heat >= 0:
            loads[best_heat] = best_load


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=600.0)
    options = parser.parse_args()
    problem = mixed_day(options.seed)
    plan = plan_day(problem)
    powers_mw = power_level(problem, plan.common_power_mw).powers_mw
    peer_db = peer_margin_db(problem, powers_mw, options.seconds)
    print(f"planner {plan.worst_margin_db:.2f} dB, bound {plan.bound_db:.2f} dB, peer {peer_db:.2f} dB")


if __name__ == "__main__":
    main()
