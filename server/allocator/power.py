"""The power that everybody sets: no more than the course needs, since products rise 3 dB for each dB."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from server.allocator.kernel import Gear
from server.allocator.plan import Heat, HotTransmitter, LevelTried
from server.allocator.problem import DayProblem
from server.allocator.scoring import day_gear, finite_or_none, margins_db, station
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
    levels = levels_of(problem)
    enough = [level for level in levels if level.is_enough] or levels[-1:]
    alike = {
        (power, pilot.gain_dbi) for power, pilot in zip(enough[0].powers_mw, problem.pilots, strict=True)
    }
    return enough[:1] if len(alike) == 1 else enough


def levels_of(problem: DayProblem) -> list[PowerLevel]:
    """Every common level that the steps of the pilots make, and one that is wished; lowest first.

    Where the director set everybody's power, that is the highest of these powers.
    """
    steps = {step for pilot in problem.pilots if pilot.power_mw is None for step in pilot.power_steps_mw}
    steps = steps or {max(pilot.power_mw or 0.0 for pilot in problem.pilots)}
    if problem.common_power_mw != "auto":
        steps.add(problem.common_power_mw)
    return [power_level(problem, step) for step in sorted(steps)]


def levels_tried(problem: DayProblem, heats: Sequence[Heat], common_mw: float) -> tuple[LevelTried, ...]:
    """The levels of a day with what each would mean for heats that are planned; common_mw: what they have.

    Kept for the days asked about last: the page of a plan, each edit of it and the publish all say the same. None
    of a day whose pilots have all left.
    """
    return _levels_tried(problem, tuple(heats), common_mw) if problem.pilots else ()


@lru_cache(maxsize=32)
def _levels_tried(problem: DayProblem, heats: tuple[Heat, ...], common_mw: float) -> tuple[LevelTried, ...]:
    levels = levels_of(problem)
    if common_mw not in [level.common_mw for level in levels]:
        levels = sorted([*levels, power_level(problem, common_mw)], key=lambda level: level.common_mw)
    return tuple(_tried(problem, heats, level, common_mw) for level in levels)


def hot_transmitters(
    problem: DayProblem, heats: Sequence[Heat], common_mw: float
) -> tuple[HotTransmitter, ...]:
    """Who transmits with more than the common level in some heats, and what that costs the others there."""
    if not problem.pilots:
        return ()
    level = power_level(problem, common_mw)
    return tuple(
        _with_cost(problem, heats, level, row)
        for row, power in enumerate(level.powers_mw)
        if power > common_mw
    )


def _tried(problem: DayProblem, heats: Sequence[Heat], level: PowerLevel, common_mw: float) -> LevelTried:
    margins = _margins_db(problem, heats, day_gear(problem, level.powers_mw))
    allowance_db = problem.site.receiver.fade_allowance_db
    return LevelTried(
        level.common_mw,
        set(level.powers_mw) == {level.common_mw},
        level.weakest_db,
        level.is_enough,
        kept_m=_reach_m(problem, level.weakest_db - allowance_db),
        threshold_m=_reach_m(problem, level.weakest_db),
        worst_margin_db=finite_or_none(min((margin for margin, _, _ in margins), default=float("inf"))),
        is_chosen=level.common_mw == common_mw,
    )


def _reach_m(problem: DayProblem, spare_db: float) -> float:
    """How far a link that has something to spare at the far distance carries; free space, 20 dB a decade."""
    return float(problem.site.far_m * 10 ** (spare_db / 20))


def _with_cost(problem: DayProblem, heats: Sequence[Heat], level: PowerLevel, row: int) -> HotTransmitter:
    pilot, power = problem.pilots[row], level.powers_mw[row]
    found = HotTransmitter(pilot.callsign, power, is_set=pilot.power_mw is not None)
    own = [heat for heat in heats if any(slot.callsign == pilot.callsign for slot in heat.slots)]
    gear = day_gear(problem, level.powers_mw)
    as_low = gear.level_mw.copy()
    as_low[:, row] *= level.common_mw / power
    now = [one for one in _margins_db(problem, own, gear) if one[1] != pilot.callsign]
    then = [
        one for one in _margins_db(problem, own, gear._replace(level_mw=as_low)) if one[1] != pilot.callsign
    ]
    if not now:
        return found
    margin_db, sufferer, heat = min(now)
    return replace(
        found,
        sufferer=sufferer,
        heat=heat,
        margin_db=margin_db,
        margin_at_common_db=min(then)[0],
    )


def _margins_db(problem: DayProblem, heats: Sequence[Heat], gear: Gear) -> list[tuple[float, str, int]]:
    """Margin in dB, callsign and heat of every slot that something interferes with."""
    row_of = {pilot.callsign: row for row, pilot in enumerate(problem.pilots)}
    found = []
    for heat in heats:
        names = [slot.callsign for slot in heat.slots]
        if len(names) > 1 or problem.site.outside:
            margins, _ = margins_db(gear, [row_of[name] for name in names], [slot.mhz for slot in heat.slots])
            found += [(float(margin), name, heat.number) for margin, name in zip(margins, names, strict=True)]
    return found
