"""Heats that are given: results decide who flies with whom, only the channels are chosen.

A pilot keeps one channel through all heats. Heats are settled one after the other, each exactly, with the
channels that earlier heats have fixed; the heat whose pilots fly most often comes first. Where a pilot flies
in several heats a second pass moves single pilots while that lifts the worst margin of the day; one who is set
to a channel already only where that is worth a retune.

Where one channel all day costs the worst margin the price of a retune or more, `retunes.py` looks for the fewest
changes of channel between heats that win it back.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.allocator.feasibility import lasting_channels
from server.allocator.heat import HeatAnswer, KeepGoing, best_channels
from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem
from server.allocator.retunes import Parts, fewest_retunes, heat_margins_db, pinned
from server.allocator.scoring import day_gear, gear_of


@dataclass(frozen=True)
class GivenAnswer:
    """channel (N,): that of the first flight, by index, -1 for pilots in no heat.

    mhz          for each heat, the channels of its pilots
    bound_db     no channels give the worst heat more
    retunes      how often a pilot changes channel from one flight to the next
    alone        for each heat, the answer it has by itself
    is_exact     every search came to its end
    is_repeated  somebody flies in several heats
    """

    gear: Gear
    channel: np.ndarray
    mhz: tuple[tuple[int, ...], ...]
    retunes: int
    alone: tuple[HeatAnswer, ...]
    bound_db: float
    is_exact: bool
    is_repeated: bool
    nodes: int


def channels_for_heats(
    problem: DayProblem, heats: Sequence[Sequence[int]], powers_mw: Sequence[float], keep_going: KeepGoing
) -> GivenAnswer:
    """Channels for heats of pilots, by index, which the hard rules are known to allow."""
    gear = day_gear(problem, powers_mw)
    share = max(1, problem.node_limit // (2 * len(heats)))
    alone = [
        best_channels(gear_of(gear, heat), problem.site.indifference_db, share, problem.seed, keep_going)
        for heat in heats
    ]
    bound_db = min(answer.best_margin_db for answer in alone)
    flights = np.bincount(np.concatenate([np.array(heat) for heat in heats]), minlength=len(problem.pilots))
    is_repeated = bool(flights.max() > 1)
    kept = _on_one_channel(problem, gear, heats, flights, keep_going)
    searches = [*alone, *kept.searches]
    parts, channel = Parts(len(problem.pilots), heats, ()), kept.channel
    if is_repeated:
        if channel is not None:
            _move_single_pilots(gear, heats, channel, problem.retune_worth_db)
        parts, channel = fewest_retunes(problem, gear, heats, channel, bound_db, keep_going)
    assert channel is not None
    return GivenAnswer(
        gear,
        channel[: len(problem.pilots)],
        tuple(tuple(gear.mhz[channel[heat]].tolist()) for heat in parts.heats),
        len(parts.cuts),
        tuple(alone),
        bound_db=bound_db,
        is_exact=all(answer.is_exact for answer in searches),
        is_repeated=is_repeated,
        nodes=sum(answer.nodes for answer in searches),
    )


@dataclass(frozen=True)
class _Kept:
    """channel (N,): one for each pilot through all heats, None where there is none; searches: all made for it."""

    channel: np.ndarray | None
    searches: tuple[HeatAnswer, ...]


def _on_one_channel(
    problem: DayProblem,
    gear: Gear,
    heats: Sequence[Sequence[int]],
    flights: np.ndarray,
    keep_going: KeepGoing,
) -> _Kept:
    """Heat after heat, each exactly with the channels that earlier heats have fixed."""
    share = max(1, problem.node_limit // (2 * len(heats)))
    channel = np.full(len(problem.pilots), -1, dtype=np.int64)
    in_use = (
        gear.in_day_set.copy() if isinstance(problem.day_channels, tuple) else np.zeros_like(gear.in_day_set)
    )
    searches = []
    for number in sorted(range(len(heats)), key=lambda one: (-int(flights[list(heats[one])].max()), one)):
        heat = list(heats[number])
        own = gear_of(gear, heat)
        if problem.day_channels != "free" and in_use.any():
            own = own._replace(in_day_set=in_use)
        own = own._replace(usable=pinned(own.usable, channel[heat]))
        answer = best_channels(own, problem.site.indifference_db, share, problem.seed, keep_going)
        searches.append(answer)
        if not answer.mhz:
            can_last = _hold_channels(problem, gear, heats, channel)
            return _Kept(channel if can_last else None, tuple(searches))
        channel[heat] = np.searchsorted(gear.mhz, answer.mhz)
        in_use[channel[heat]] = True
    return _Kept(channel, tuple(searches))


def _hold_channels(
    problem: DayProblem, gear: Gear, heats: Sequence[Sequence[int]], channel: np.ndarray
) -> bool:
    """Any channels that everybody can keep through the heats, in place; False where there are none."""
    aloft = sorted({pilot for heat in heats for pilot in heat})
    place = {pilot: row for row, pilot in enumerate(aloft)}
    mhz = lasting_channels(
        [problem.choices_mhz(problem.pilots[pilot]) for pilot in aloft],
        [[place[pilot] for pilot in heat] for heat in heats],
        problem.minimum_spacing_mhz,
    )
    if mhz is None:
        return False
    channel[aloft] = np.searchsorted(gear.mhz, mhz)
    return True


def _move_single_pilots(
    gear: Gear, heats: Sequence[Sequence[int]], channel: np.ndarray, retune_worth_db: float
) -> None:
    """Move one pilot at a time while that lifts the sorted worst margins of the heats; channel in place.

    Who would have to retune is moved only where the worst margin of the day rises by the price of it.
    """

    def worst() -> list[float]:
        return sorted(heat_margins_db(gear, heats, heats, channel))

    best = worst()
    improved = True
    while improved:
        improved = False
        for pilot in np.flatnonzero(channel >= 0):
            kept = channel[pilot]
            for f in np.flatnonzero(gear.usable[pilot]):
                channel[pilot] = f
                trial = worst()
                is_retune = kept == gear.current[pilot]
                if trial > best and (not is_retune or trial[0] >= best[0] + retune_worth_db):
                    best, kept, improved = trial, f, True
            channel[pilot] = kept
