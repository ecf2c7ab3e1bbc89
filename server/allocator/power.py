"""The power that everybody sets: no more than the course needs, since products rise 3 dB for each dB."""

from dataclasses import dataclass

from server.allocator.problem import DayProblem
from server.allocator.scoring import station
from server.radio.interference import wanted_level_dbm
from server.radio.receiver import link_margin_db

SAME_LEVEL_DB = 0.05
"""Worst margins closer than this are a tie between two levels."""


@dataclass(frozen=True)
class PowerLevel:
    """A common level with what it means for every pilot.

    common_mw    the level; powers_mw (N,) what each pilot then sets
    is_enough    every pilot's link budget holds
    weakest_db   the smallest link margin, dB above the FM threshold
    """

    common_mw: float
    powers_mw: tuple[float, ...]
    is_enough: bool
    weakest_db: float


def power_level(problem: DayProblem, common_mw: float) -> PowerLevel:
    """What a common level in mW means for the pilots of a day."""
    powers = tuple(pilot.power_at(common_mw) for pilot in problem.pilots)
    links = [
        float(link_margin_db(wanted_level_dbm(station(pilot, 0, power), problem.site), problem.site.receiver))
        for pilot, power in zip(problem.pilots, powers, strict=True)
    ]
    weakest = min(links)
    return PowerLevel(common_mw, powers, weakest >= problem.site.receiver.fade_allowance_db, weakest)


def levels_to_try(problem: DayProblem) -> list[PowerLevel]:
    """The common levels worth comparing, lowest first: those whose link budget holds, or the highest of all.

    Where everybody would radiate alike at the lowest of them, no other can be better: carriers keep their
    ratio and products only grow.
    """
    if problem.common_power_mw != "auto":
        return [power_level(problem, problem.common_power_mw)]
    steps = sorted(
        {step for pilot in problem.pilots if pilot.power_mw is None for step in pilot.power_steps_mw}
    )
    if not steps:
        return [power_level(problem, max(pilot.power_mw or 0.0 for pilot in problem.pilots))]
    levels = [power_level(problem, step) for step in steps]
    enough = [level for level in levels if level.is_enough] or levels[-1:]
    alike = {
        (power, pilot.gain_dbi) for power, pilot in zip(enough[0].powers_mw, problem.pilots, strict=True)
    }
    return enough[:1] if len(alike) == 1 else enough


def hot_pilots(problem: DayProblem, level: PowerLevel) -> list[tuple[str, float]]:
    """Callsigns and powers in mW of pilots who cannot go as low as the common level."""
    return [
        (pilot.callsign, power)
        for pilot, power in zip(problem.pilots, level.powers_mw, strict=True)
        if power > level.common_mw
    ]
