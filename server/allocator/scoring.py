"""What is minimised: the numbers behind the search, and the margins of a set of slots.

The kernel works on loads (interference over wanted carrier, linear); this module turns pilots and a site
into the kernel's arrays and loads back into margins in dB.
"""

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from server.allocator.kernel import Gear, heat_loads
from server.allocator.problem import DayProblem, Pilot
from server.radio import decibels
from server.radio.interference import (
    Station,
    outside_level_dbm,
    unwanted_level_dbm,
    wanted_level_dbm,
)
from server.radio.receiver import protection_ratio_db
from server.radio.site import Site
from server.radio.tuning import HIGHEST_MHZ, LOWEST_MHZ


def station(pilot: Pilot, mhz: int, power_mw: float) -> Station:
    """A pilot as the radio model sees it."""
    return Station(pilot.callsign, mhz, power_mw, pilot.antenna, pilot.rx_antenna, pilot.gain_dbi)


def day_gear(problem: DayProblem, powers_mw: Sequence[float]) -> Gear:
    """The kernel's numbers for every pilot of a day, over all channels that anybody may use.

    powers_mw   one a pilot
    """
    choices = [problem.choices_mhz(pilot) for pilot in problem.pilots]
    channels = sorted({mhz for usable in choices for mhz in usable})
    index = {mhz: f for f, mhz in enumerate(channels)}
    usable = np.zeros((len(choices), len(channels)), dtype=np.bool_)
    for row, own in enumerate(choices):
        usable[row, [index[mhz] for mhz in own]] = True
    stations = [station(pilot, 0, power) for pilot, power in zip(problem.pilots, powers_mw, strict=True)]
    return Gear(
        mhz=np.array(channels, dtype=np.int64),
        usable=usable,
        **_levels(stations, problem.site),
        current=np.array(
            [
                index.get(pilot.current_mhz, -1) if pilot.current_mhz is not None else -1
                for pilot in problem.pilots
            ],
            dtype=np.int64,
        ),
        in_day_set=np.array([_is_in_day_set(mhz, problem) for mhz in channels], dtype=np.bool_),
        protection=protection_table(problem.site),
        mixing=float(decibels.power_ratio(-2.0 * problem.site.receiver.iip3_dbm)),
        spacing_mhz=problem.minimum_spacing_mhz,
        background=_background_mw(problem.site),
        background_mhz=LOWEST_MHZ,
    )


def _is_in_day_set(mhz: int, problem: DayProblem) -> bool:
    return not isinstance(problem.day_channels, tuple) or mhz in problem.day_channels


def _levels(stations: Sequence[Station], site: Site) -> dict[str, np.ndarray]:
    """level_mw (s, n), sense (n,), wanted_mw (n,) and alike (n,) of Gear."""
    senses = sorted({one.rx_antenna for one in stations})
    listeners = [Station("", 0, 1.0, rx_antenna=sense) for sense in senses]
    # One row a sense: the stations heard by a listener of that sense, nobody's own carrier left out.
    heard_dbm = unwanted_level_dbm([*listeners, *stations], site, site.near_m)[: len(senses), len(senses) :]
    level_mw = decibels.mw_from_dbm(heard_dbm)
    wanted_mw = decibels.mw_from_dbm([wanted_level_dbm(one, site) for one in stations])
    sense = np.array([senses.index(one.rx_antenna) for one in stations], dtype=np.int64)
    kinds: dict[tuple[object, ...], int] = {}
    alike = [
        kinds.setdefault((sense[x], wanted_mw[x], *level_mw[:, x]), len(kinds)) for x in range(len(stations))
    ]
    return {
        "level_mw": np.ascontiguousarray(level_mw),
        "sense": sense,
        "wanted_mw": wanted_mw,
        "alike": np.array(alike, dtype=np.int64),
    }


@lru_cache(maxsize=64)
def _background_mw(site: Site) -> np.ndarray:
    """Background of Gear: of a site's outside signals, for every tuning that there is."""
    if not site.outside:
        return np.zeros(0)
    heard_dbm = outside_level_dbm(range(LOWEST_MHZ, HIGHEST_MHZ + 1), site)
    return decibels.mw_from_dbm(heard_dbm).sum(axis=1)


def protection_table(site: Site) -> np.ndarray:
    """(k,) power ratio of the protection ratio by whole MHz of offset; the last holds for all beyond."""
    floor_db = site.receiver.pr_floor_db
    reach_mhz = math.ceil((48.38 - floor_db) / 2.0)
    return decibels.power_ratio(protection_ratio_db(np.arange(reach_mhz + 1), floor_db))


def gear_of(gear: Gear, members: Sequence[int]) -> Gear:
    """The same numbers for some of the pilots, by index."""
    rows = np.array(members, dtype=np.int64)
    return gear._replace(
        usable=gear.usable[rows],
        level_mw=np.ascontiguousarray(gear.level_mw[:, rows]),
        sense=gear.sense[rows],
        wanted_mw=gear.wanted_mw[rows],
        alike=gear.alike[rows],
        current=gear.current[rows],
    )


def quietest_mw(gear: Gear) -> np.ndarray:
    """(n,) mW that each pilot's receiver hears of outside signals on its quietest channel."""
    if not gear.background.size:
        return np.zeros(len(gear.usable))
    heard = gear.background[gear.mhz - gear.background_mhz]
    quietest = np.where(gear.usable, heard, np.inf).min(axis=1, initial=np.inf)
    return np.where(gear.usable.any(axis=1), quietest, 0.0)


def margins_db(gear: Gear, members: Sequence[int], mhz: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """Margins and stressed margins (k,) in dB of pilots, by index, on frequencies; infinite when alone."""
    load = np.empty(len(members))
    stressed = np.empty(len(members))
    heat_loads(gear, np.array(members, dtype=np.int64), np.array(mhz, dtype=np.int64), load, stressed)
    return margin_of_load_db(load), margin_of_load_db(stressed)


def margin_of_load_db(load: np.ndarray | float) -> np.ndarray:
    """Margin in dB of a load, any shape; infinite where nothing interferes."""
    return -decibels.db_from_power_ratio(load)


def load_of_margin_db(margin_db: float) -> float:
    """Load that leaves a margin in dB."""
    return float(decibels.power_ratio(-margin_db))


def finite_or_none(margin_db: float) -> float | None:
    """A margin for people: None where nothing interferes."""
    return float(margin_db) if math.isfinite(margin_db) else None
