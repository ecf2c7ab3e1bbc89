"""The stressed margin of a day: what is left to choose once worst margin, channels and opponents are settled.

Two pilots exchange their heats of one round; a pilot takes another channel of those in use for all heats, or
two exchange theirs; all who hold a channel take another one, or exchange with all who hold that. The step that
lifts the heat of the lowest stressed margin most is done, as long as no heat falls below the worst margin of the
day, and hard rules, rest, the number of channels and repeated pairings stay as good as they were. So it goes on
until no single step lifts that heat, or so many heats were looked at.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from server.allocator.kernel import TIE, Gear, heat_loads

MOST_LOOKS = 6_000
"""Heats that may be looked at: a tenth of a second."""


@dataclass(frozen=True)
class DayRules:
    """What a step must keep to. N pilots, m channels, R rounds of H heats.

    channels  (N, m) bool: channels that each may take, none for who must not be moved
    allowed   (R, N, H) bool: heats of each round that each may fly in
    fixed     (N,) bool: who stays with somebody, so in the own heat
    apart     (N, N) bool
    rest      heats between two flights of one pilot, where there are as many now
    """

    channels: np.ndarray
    allowed: np.ndarray
    fixed: np.ndarray
    apart: np.ndarray
    rest: int


@dataclass(frozen=True)
class _Step:
    """A day after a step, and the heats that it changes: number and stressed load."""

    heat_of: np.ndarray
    channel: np.ndarray
    stressed: dict[int, float]


class StressedDay:
    """A day on one channel for each pilot.

    heat_of    (R, N) heat of each pilot in each round, -1 for who sits it out
    channel    (N,) by index
    stressed   (R * H,) largest stressed load of each heat, round after round
    looks      heats looked at so far
    """

    def __init__(self, gear: Gear, rules: DayRules, heat_of: np.ndarray, channel: np.ndarray) -> None:
        self.gear, self.rules = gear, rules
        self.heat_of, self.channel = heat_of, channel
        self.heats = rules.allowed.shape[2]
        self.looks = 0
        found = [self._loads(number, heat_of, channel) for number in range(len(heat_of) * self.heats)]
        self.limit = max(load for load, _ in found) * (1.0 + TIE)
        self.stressed = [stressed for _, stressed in found]
        together = [(one[:, np.newaxis] == one) & (one >= 0) for one in heat_of]
        self.met = np.sum(together, axis=0)

    def lift(self) -> bool:
        """The step that lifts the worst stressed heat most; False where none does."""
        worst = int(np.argmax(self.stressed))
        bar = self.stressed[worst] * (1.0 - TIE)
        best: _Step | None = None
        for heat_of, channel, touched in self._trials(worst):
            if self.looks >= MOST_LOOKS:
                break
            found = self._tried(heat_of, channel, touched, bar)
            if found is not None:
                best = _Step(heat_of, channel, found)
                bar = max(found.values()) * (1.0 - TIE)
        if best is None:
            return False
        self._count_meetings(best.heat_of)
        self.heat_of, self.channel = best.heat_of, best.channel
        for number, stressed in best.stressed.items():
            self.stressed[number] = stressed
        return True

    def _trials(self, worst: int) -> Iterator[tuple[np.ndarray, np.ndarray, list[int]]]:
        """Heats and channels after each step of a pilot of the worst heat; and the heats to look at."""
        number, heat = divmod(worst, self.heats)
        for pilot in np.flatnonzero(self.heat_of[number] == heat).tolist():
            for other in self._partners(number, pilot):
                trial = self.heat_of.copy()
                trial[number, [pilot, other]] = trial[number, [other, pilot]]
                yield trial, self.channel, [worst, number * self.heats + int(trial[number, pilot])]
            for channel, moved in self._retuned(pilot):
                others = {
                    one * self.heats + int(flown[who])
                    for one, flown in enumerate(self.heat_of)
                    for who in moved
                    if flown[who] >= 0
                }
                yield self.heat_of, channel, [worst, *sorted(others - {worst})]

    def _retuned(self, pilot: int) -> Iterator[tuple[np.ndarray, tuple[int, ...]]]:
        """Channels of the day with the pilot on another one, alone or with all who share it; and who is moved."""
        may, mine = self.rules.channels, int(self.channel[pilot])
        sharers = np.flatnonzero(self.channel == mine)
        for f in np.flatnonzero(may[pilot]).tolist():
            if f == mine:
                continue
            holders = np.flatnonzero(self.channel == f)
            if len(holders):
                yield self._moved([pilot], f, [], mine)
            for other in holders[may[holders, mine]].tolist():
                yield self._moved([pilot], f, [other], mine)
            if max(len(sharers), len(holders)) > 1 and may[sharers, f].all() and may[holders, mine].all():
                yield self._moved(sharers.tolist(), f, holders.tolist(), mine)
            elif not len(holders) and may[sharers, f].all():
                yield self._moved(sharers.tolist(), f, [], mine)

    def _moved(
        self, those: list[int], f: int, others: list[int], g: int
    ) -> tuple[np.ndarray, tuple[int, ...]]:
        """The channels with those on f and the others on g; and who they are."""
        trial = self.channel.copy()
        trial[those], trial[others] = f, g
        return trial, (*those, *others)

    def _partners(self, number: int, pilot: int) -> Iterator[int]:
        """Pilots with whom the heats of a round can be exchanged, as far as rules, rest and pairings go."""
        rules, flown = self.rules, self.heat_of[number]
        mine = int(flown[pilot])
        if rules.fixed[pilot]:
            return
        here = np.flatnonzero(flown == mine)
        here = here[here != pilot]
        for other in np.flatnonzero((flown >= 0) & (flown != mine) & ~rules.fixed).tolist():
            theirs = int(flown[other])
            there = np.flatnonzero(flown == theirs)
            there = there[there != other]
            if (
                rules.allowed[number, pilot, theirs]
                and rules.allowed[number, other, mine]
                and not rules.apart[pilot, there].any()
                and not rules.apart[other, here].any()
                and self._repeats_more(pilot, here, other, there) <= 0
                and self._is_rested(number, pilot, theirs)
                and self._is_rested(number, other, mine)
            ):
                yield other

    def _repeats_more(self, pilot: int, here: np.ndarray, other: int, there: np.ndarray) -> int:
        """How many more pairings are repeated if two exchange their heats, less those that no longer are."""
        gone = (self.met[pilot, here] > 1).sum() + (self.met[other, there] > 1).sum()
        new = (self.met[pilot, there] > 0).sum() + (self.met[other, here] > 0).sum()
        return int(new) - int(gone)

    def _is_rested(self, number: int, pilot: int, heat: int) -> bool:
        """Whether a pilot rests as long as the rules ask, or as now, before and after another heat of a round."""
        now = int(self.heat_of[number, pilot])
        for beside, sign in ((number - 1, 1), (number + 1, -1)):
            if 0 <= beside < len(self.heat_of) and self.heat_of[beside, pilot] >= 0:
                away = int(self.heat_of[beside, pilot])
                gap, old = (self.heats + sign * (one - away) - 1 for one in (heat, now))
                if gap < min(self.rules.rest, old):
                    return False
        return True

    def _count_meetings(self, heat_of: np.ndarray) -> None:
        for before, after in zip(self.heat_of, heat_of, strict=True):
            if (before != after).any():
                self.met = self.met - ((before[:, np.newaxis] == before) & (before >= 0))
                self.met = self.met + ((after[:, np.newaxis] == after) & (after >= 0))

    def _tried(
        self, heat_of: np.ndarray, channel: np.ndarray, touched: Sequence[int], bar: float
    ) -> dict[int, float] | None:
        """Stressed load of each heat that a step changes; None where one is not below the bar."""
        found: dict[int, float] = {}
        for number in touched:
            load, stressed = self._loads(number, heat_of, channel)
            if load > self.limit or stressed >= bar:
                return None
            found[number] = stressed
        return found

    def _loads(self, number: int, heat_of: np.ndarray, channel: np.ndarray) -> tuple[float, float]:
        """Largest load and stressed load of a heat; infinite where two are closer than the spacing."""
        members = np.flatnonzero(heat_of[number // self.heats] == number % self.heats)
        if len(members) < 2:
            return 0.0, 0.0
        mhz = self.gear.mhz[channel[members]]
        if any(high - low < self.gear.spacing_mhz for low, high in pairwise(sorted(mhz.tolist()))):
            return np.inf, np.inf
        self.looks += 1
        load, stressed = np.empty(len(members)), np.empty(len(members))
        heat_loads(self.gear, members, mhz, load, stressed)
        return float(load.max()), float(stressed.max())
