"""What no plan of the day can beat."""

from collections.abc import Sequence

import numpy as np

from server.allocator.heat import KeepGoing, best_worst_margin
from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import Frame
from server.allocator.scoring import day_gear, gear_of, margin_of_load_db

BOUND_NODES = 400_000


def day_bound_db(
    problem: DayProblem,
    gear: Gear,
    powers_mw: Sequence[float],
    frame: Frame,
    there: Sequence[int],
    keep_going: KeepGoing | None,
) -> float:
    """Upper bound in dB of the day's worst margin.

    frame   of one round: the fewest pilots that any heat, and that the largest heat, is sure to hold
    there   who takes part in that round, by index

    The lowest of three arguments counts. Every pilot there flies with at least ``frame.smallest`` - 1 others, at
    best the weakest of all, none nearer in frequency than where the protection ratio ends. Some heat holds
    ``frame.largest`` pilots; its weakest transmitter hears only stronger ones. And where all gear is equal,
    that heat does no better than the best heat of so many who could use every channel of the day.
    """
    aloft = gear_of(gear, there)
    bound = float(margin_of_load_db(_least_loads(aloft, frame.smallest).max(initial=0.0)))
    bound = min(bound, float(margin_of_load_db(_load_of_weakest(aloft, frame.largest))))
    if frame.largest < 2 or np.ptp(gear.level_mw) > 0.0:
        return bound
    ideal = _equals(problem, powers_mw[0], frame.largest)
    if ideal is None:
        return bound
    return min(bound, best_worst_margin(ideal, BOUND_NODES, problem.seed, keep_going).best_margin_db)


def _least_loads(gear: Gear, in_heat: int) -> np.ndarray:
    """(N,) load that each pilot has at the least with in_heat - 1 others up."""
    count = len(gear.sense)
    loads = np.zeros(count)
    for pilot in range(count):
        heard = np.sort(np.delete(gear.level_mw[gear.sense[pilot]], pilot))[: max(0, in_heat - 1)]
        loads[pilot] = heard.sum() * gear.protection[-1] / gear.wanted_mw[pilot]
    return loads


def _load_of_weakest(gear: Gear, in_heat: int) -> float:
    """Load that the weakest transmitter of a heat has at the least, whichever pilot that is."""
    radiated = gear.level_mw.max(axis=0)
    loads = [np.inf]
    for pilot in range(len(gear.sense)):
        stronger = np.flatnonzero(radiated >= radiated[pilot])
        heard = np.sort(gear.level_mw[gear.sense[pilot], stronger[stronger != pilot]])[: max(0, in_heat - 1)]
        if len(heard) >= in_heat - 1:
            loads.append(heard.sum() * gear.protection[-1] / gear.wanted_mw[pilot])
    return float(min(loads))


def _equals(problem: DayProblem, power_mw: float, count: int) -> Gear | None:
    """Gear of ``count`` pilots who all radiate as the first of a day does, over all channels of the day."""
    channels = tuple(sorted({mhz for pilot in problem.pilots for mhz in problem.choices_mhz(pilot)}))
    if len(channels) < count:
        return None
    gain_dbi = problem.pilots[0].gain_dbi
    crowd = tuple(Pilot(str(number), channels, gain_dbi=gain_dbi) for number in range(count))
    return day_gear(problem.with_pilots(crowd), [power_mw] * count)
