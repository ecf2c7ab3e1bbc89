"""A channel at once for a pilot who stands at the desk, before anybody knows who else will come.

The pilots present are thought of as filling heats one after the other; the newcomer goes to the emptiest
and gets the channel that leaves it best. Channels of one good set for a full heat are preferred, so that the
pilots to come find room, and so that the day ends with few different channels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.allocator.descent import descend
from server.allocator.kernel import WORST
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, finite_or_none, margins_db
from server.allocator.sums import new_sums, rows_of
from server.radio.site import Site

STARTS = 8
TARGET_POWER_MW = 25.0


@dataclass(frozen=True)
class Provisional:
    """A channel to set now.

    margin_db   worst margin of the heat it was chosen for, with the newcomer; None while alone there
    heat        number of that heat, and how many are in it with the newcomer
    """

    mhz: int
    margin_db: float | None
    heat: int
    in_heat: int


def provisional_channel(newcomer: Pilot, present: Sequence[Pilot], problem: DayProblem) -> Provisional | None:
    """The channel for ``newcomer`` beside those ``present`` (in order of arrival); None where none is usable.

    Only pilots who hold a channel (``current_mhz``) count. Deterministic; no proof is claimed: the plan
    that follows moves a pilot again where that is worth the price of a retune.
    """
    holders = [pilot for pilot in present if pilot.current_mhz is not None]
    everybody = [*holders, newcomer]
    day = problem.with_pilots(tuple(everybody))
    choices = day.choices_mhz(newcomer)
    if not choices:
        return None
    powers = [pilot.power_at(_common_level_mw(problem)) for pilot in everybody]
    gear = day_gear(day, powers)
    held_mhz = [pilot.current_mhz for pilot in present if pilot.current_mhz is not None]
    heats = _filled_heats(held_mhz, problem)
    target = _target_set(
        problem.site, _all_choices(problem, everybody), problem.aircraft, problem.minimum_spacing_mhz
    )
    uses = {mhz: held_mhz.count(mhz) for mhz in choices}
    offers = []
    for number, members in enumerate(heats, start=1):
        if len(members) < problem.aircraft:
            held = [held_mhz[one] for one in members]
            margin = {
                mhz: float(margins_db(gear, [*members, len(holders)], [*held, mhz])[0].min())
                for mhz in choices
            }
            mhz = _best_choice(margin, held, uses, target, problem)
            offers.append(Provisional(mhz, finite_or_none(margin[mhz]), number, len(members) + 1))
    # The emptiest heat, unless another would be better by as much as a retune is worth later.
    worth = max(_or_infinite(offer.margin_db) for offer in offers) - problem.retune_worth_db
    fair = [offer for offer in offers if _or_infinite(offer.margin_db) >= worth]
    return min(fair, key=lambda offer: (offer.in_heat, offer.heat))


def _best_choice(
    margin: dict[int, float],
    held: Sequence[int],
    uses: dict[int, int],
    target: "_TargetSet",
    problem: DayProblem,
) -> int:
    """A channel that is as good as any: held by others already, else of the target set, else any other.

    Among these the least used, the widest, the lowest; where none is good enough, the best.
    """
    enough = min(max(margin.values()), target.worst_margin_db) - problem.site.indifference_db
    good = [
        mhz
        for mhz in margin
        if margin[mhz] >= enough and _distance_mhz(mhz, held) >= problem.minimum_spacing_mhz
    ]
    if good:
        return min(
            good,
            key=lambda one: (
                uses[one] == 0,
                one not in target.mhz,
                uses[one],
                -_distance_mhz(one, held),
                one,
            ),
        )
    return max(margin, key=lambda one: (round(margin[one], 1), _distance_mhz(one, held), -one))


def _or_infinite(margin_db: float | None) -> float:
    return np.inf if margin_db is None else margin_db


def _common_level_mw(problem: DayProblem) -> float:
    return TARGET_POWER_MW if problem.common_power_mw == "auto" else problem.common_power_mw


def _distance_mhz(mhz: int, held: Sequence[int]) -> int:
    return min((abs(mhz - other) for other in held), default=10_000)


def _filled_heats(held_mhz: Sequence[int], problem: DayProblem) -> list[list[int]]:
    """Pilots, by index, spread over as many heats as one more pilot needs, close channels kept apart."""
    count = -(-(len(held_mhz) + 1) // problem.aircraft)
    heats: list[list[int]] = [[] for _ in range(count)]
    for pilot, mhz in enumerate(held_mhz):
        clear = [
            heat
            for heat in heats
            if all(abs(held_mhz[other] - mhz) >= problem.minimum_spacing_mhz for other in heat)
        ]
        min(clear or heats, key=len).append(pilot)
    return heats


def _all_choices(problem: DayProblem, pilots: Sequence[Pilot]) -> tuple[int, ...]:
    return tuple(sorted({mhz for pilot in pilots for mhz in problem.choices_mhz(pilot)}))


@dataclass(frozen=True)
class _TargetSet:
    mhz: frozenset[int]
    worst_margin_db: float


@lru_cache(maxsize=64)
def _target_set(site: Site, channels_mhz: tuple[int, ...], aircraft: int, spacing_mhz: int) -> _TargetSet:
    """A good set of channels for a full heat of equal gear, by descent."""
    count = min(aircraft, len(channels_mhz))
    crowd = tuple(Pilot(f"{number}", channels_mhz) for number in range(count))
    day = DayProblem(crowd, site, aircraft=count, minimum_spacing_mhz=spacing_mhz)
    gear = day_gear(day, [TARGET_POWER_MW] * count)
    starts = np.random.default_rng(1).integers(len(channels_mhz), size=(STARTS, count))
    rows, sums = rows_of(gear), new_sums(gear)
    reached = [descend(gear, rows, sums, start, WORST, np.inf) for start in starts]
    answer = starts[int(np.argmin(reached))]
    mhz = [int(one) for one in gear.mhz[answer]]
    return _TargetSet(frozenset(mhz), float(margins_db(gear, range(count), mhz)[0].min()))
