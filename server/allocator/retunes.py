"""Changes of channel between settled heats of a day: as few as lift the worst margin enough.

A pilot who may change channel before the second, third, ... of the own flights is two pilots who share no heat.
So a day with some such *cuts* is a day on one channel with more pilots. Cuts are added one by one, each where it
lifts the heats most, until the worst margin has risen by the price of a retune; if that is never reached, none is
made. That fewer would not do is not proved.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from server.allocator.heat import KeepGoing, best_worst_margin
from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem
from server.allocator.scoring import gear_of, margins_db

MOST_RETUNES = 4
SETTLING_NODES = 1_000
"""Search nodes for the channels of one heat."""

LEAST_DB = -1_000.0
"""Margin that is enough where no channels last through all heats: any at all."""

Cut = tuple[int, int]
"""A pilot, by index, and the number of the own flight, from 1, before which the channel may change."""


class Parts:
    """The pilots of a day cut into parts of one channel each.

    cuts    where; owner: pilot of each part, the first part of each pilot under the pilot's own number
    heats   the heats by parts
    """

    def __init__(self, count: int, heats: Sequence[Sequence[int]], cuts: Sequence[Cut]) -> None:
        self.cuts = tuple(cuts)
        self.owner = list(range(count))
        flown: dict[int, int] = {}
        part_of: dict[int, int] = {}
        self.heats: list[list[int]] = []
        for heat in heats:
            for pilot in heat:
                if (pilot, flown.get(pilot, 0)) in self.cuts:
                    part_of[pilot] = len(self.owner)
                    self.owner.append(pilot)
                flown[pilot] = flown.get(pilot, 0) + 1
            self.heats.append([part_of.get(pilot, pilot) for pilot in heat])


def pinned(usable: np.ndarray, channel: np.ndarray) -> np.ndarray:
    """What may be used where some channels (-1 for none) are settled."""
    narrowed = usable.copy()
    for row in np.flatnonzero(channel >= 0):
        narrowed[row] = False
        narrowed[row, channel[row]] = True
    return narrowed


def heat_margins_db(
    gear: Gear, owners: Sequence[Sequence[int]], heats: Sequence[Sequence[int]], channel: np.ndarray
) -> list[float]:
    """Worst margin of each heat, to 0.001 dB; -infinite for one that breaks the spacing.

    owners, heats   for each heat, its pilots and its parts; channel: by part
    """
    margins = []
    for pilots, parts in zip(owners, heats, strict=True):
        mhz = gear.mhz[channel[list(parts)]]
        is_close = len(mhz) > 1 and np.diff(np.sort(mhz)).min() < gear.spacing_mhz
        margins.append(-np.inf if is_close else float(margins_db(gear, pilots, mhz.tolist())[0].min()))
    return [round(margin, 3) for margin in margins]


def fewest_retunes(
    problem: DayProblem,
    gear: Gear,
    heats: Sequence[Sequence[int]],
    channel: np.ndarray | None,
    bound_db: float,
    keep_going: KeepGoing,
) -> tuple[Parts, np.ndarray | None]:
    """The day with the fewest cuts found that lift its worst margin by the price of a retune, and its channels.

    channel    (N,) of the day without cuts; None where no channels last through all heats
    bound_db   what no channels can beat
    """
    parts = whole = Parts(len(problem.pilots), heats, ())
    own = _settled(problem, gear, heats, whole, keep_going) if channel is None else channel
    margins = heat_margins_db(gear, heats, whole.heats, own)
    if min(margins) == np.inf or (channel is not None and bound_db < min(margins) + problem.retune_worth_db):
        return whole, channel
    enough_db = LEAST_DB if channel is None else min(margins) + problem.retune_worth_db
    for _ in range(MOST_RETUNES if channel is not None else sum(map(len, heats))):
        tried = []
        for cut in _useful_cuts(heats, parts.cuts, margins):
            trial = Parts(len(problem.pilots), heats, (*parts.cuts, cut))
            settled = _settled(problem, gear, heats, trial, keep_going)
            tried.append((heat_margins_db(gear, heats, trial.heats, settled), cut, trial, settled))
        if not tried:
            break
        margins, _, parts, own = max(tried, key=lambda one: (sorted(one[0]), [-number for number in one[1]]))
        if min(margins) >= enough_db:
            return parts, own
    return whole, channel


def _useful_cuts(heats: Sequence[Sequence[int]], cuts: Sequence[Cut], margins: Sequence[float]) -> list[Cut]:
    """Cuts before and after the flights of the worst heat that has any that are not made yet."""
    flown: Counter[int] = Counter()
    flights = np.bincount(np.concatenate([np.array(heat) for heat in heats]))
    found: list[list[Cut]] = []
    for heat in heats:
        own = [(pilot, flight) for pilot in heat for flight in (flown[pilot], flown[pilot] + 1)]
        found.append([cut for cut in own if 0 < cut[1] < flights[cut[0]] and cut not in cuts])
        for pilot in heat:
            flown[pilot] += 1
    order = sorted(range(len(heats)), key=lambda number: (margins[number], number))
    return next((found[number] for number in order if found[number]), [])


def _settled(
    problem: DayProblem, gear: Gear, heats: Sequence[Sequence[int]], parts: Parts, keep_going: KeepGoing
) -> np.ndarray:
    """A channel for each part, heat after heat, the heats whose parts fly most often first."""
    channel = np.full(len(parts.owner), -1, dtype=np.int64)
    flights = np.bincount(np.concatenate([np.array(heat) for heat in parts.heats]), minlength=len(channel))
    for number in sorted(range(len(heats)), key=lambda one: (-int(flights[parts.heats[one]].sum()), one)):
        members = parts.heats[number]
        own = gear_of(gear, heats[number])
        own = own._replace(usable=pinned(own.usable, channel[members]))
        answer = best_worst_margin(own, SETTLING_NODES, problem.seed, keep_going)
        if answer.mhz:
            channel[members] = np.searchsorted(gear.mhz, answer.mhz)
        else:
            for member, row in zip(members, own.usable, strict=True):
                channel[member] = np.flatnonzero(row)[0]
    return channel
