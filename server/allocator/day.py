"""A whole day: who flies when, everybody on one channel all day where that is not worth a retune.

1. The first round decides the channels: several starts, each improved by annealing, the best kept.
2. Channels already set are kept unless moving pilots lifts the worst margin by the price of a retune.
3. As few different channels as the gear allows, at no more than ``mix_worth_db`` below the best margin.
4. The later rounds keep the channels and mix the opponents.
5. Heats and channels are exchanged where that lifts the stressed margin and costs nothing of the rest.

The heats of a day are found by local search: the bound says how far the worst margin can be from the best.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from server.allocator.bounds import DayBound
from server.allocator.kernel import Gear
from server.allocator.later_rounds import LaterRoundsSearch
from server.allocator.round_search import RoundPlan
from server.allocator.schedule import Frame
from server.allocator.scoring import margin_of_load_db
from server.allocator.search_words import stressed_words
from server.allocator.stressed_day import DayRules, StressedDay
from server.wording import marked

LEAST_ROOM = 0.2
"""Share of what a good mix is worth that is left to it however far the bound is."""


@dataclass(frozen=True)
class DayAnswer:
    """rounds: one a round; channels are the same in all of them."""

    gear: Gear
    frame: Frame
    rounds: tuple[RoundPlan, ...]
    bound_db: float
    moves: int
    notes: tuple[str, ...]


class DaySearch(LaterRoundsSearch):
    """The search for a day with given powers (N,) in mW."""

    def run(self) -> DayAnswer:
        starts, found = self._found
        rules = self._everybody()
        free = self._from_other_partings(rules, found, starts[-1].channel)
        first, moves, notes = self._kept_channels(free)
        self.bound.lower(self._worst_db(first))
        floor_db = self._worst_db(first) - self._room_db(self._worst_db(first))
        if self.problem.day_channels == "auto":
            first = self._fewer_channels([first, *starts], floor_db)
        rounds, lifted = self._with_stressed_margin(self._later_rounds(first, floor_db))
        return DayAnswer(
            self.gear, self.frame, tuple(rounds), self._bound_db(rounds), moves, (*notes, *lifted)
        )

    def first_round_db(self) -> float:
        """Worst margin of the first round as a quick look finds it; for comparing."""
        return self._worst_db(self._found[1])

    def first_round_margins_db(self) -> tuple[float, float]:
        """The same, and the bound."""
        self.bound.lower(self.first_round_db())
        return self.first_round_db(), self.bound.margin_db

    @cached_property
    def _found(self) -> tuple[list[RoundPlan], RoundPlan]:
        """Starts, and the best first round that walks from them lead to."""
        starts = self._starts()
        return starts, self._first_round(starts)

    def _with_stressed_margin(self, rounds: list[RoundPlan]) -> tuple[list[RoundPlan], tuple[str, ...]]:
        """The rounds after exchanges that lift the stressed margin, and what was done in words.

        A day with changes of channel between its rounds stays as it is.
        """
        channel = rounds[0].channel
        if self.was_stopped or any((one.channel != channel).any() for one in rounds):
            return rounds, ()
        numbers = range(1, len(rounds) + 1)
        rules = DayRules(
            self._exchangeable(channel),
            np.array([self._rules(number).allowed for number in numbers]),
            np.array(self.together.any(axis=1)),
            self.apart,
            self.problem.rest_heats,
        )
        day = StressedDay(self.gear, rules, np.array([one.heat_of for one in rounds]), channel)
        before = max(day.stressed)
        while day.lift() and self._go_on(marked("stressed margin"), day.looks, None):
            pass
        after = max(day.stressed)
        if after >= before:
            return rounds, ()
        lifted = [
            replace(one, heat_of=day.heat_of[row], channel=day.channel) for row, one in enumerate(rounds)
        ]
        return lifted, stressed_words(*(float(margin_of_load_db(load)) for load in (before, after)))

    def _exchangeable(self, channel: np.ndarray) -> np.ndarray:
        """(N, m) channels that each pilot may take with no more moves."""
        allowed = self.usable.copy()
        current = self.gear.current
        for pilot in np.flatnonzero(current >= 0):
            allowed[pilot, current[pilot]] = False
            if channel[pilot] == current[pilot]:
                allowed[pilot] = False
        return allowed

    def _room_db(self, worst_db: float) -> float:
        """What fewer channels and new opponents may cost.

        The best worst margin lies between the one that was found and the bound. What they are worth counts from
        the bound, as far as that leaves a little.
        """
        worth_db = self.problem.mix_worth_db
        return max(worth_db - max(0.0, self.bound.margin_db - worst_db), LEAST_ROOM * worth_db)

    def _bound_db(self, rounds: Sequence[RoundPlan]) -> float:
        """The bound over all plans, where hard rules kept the heats from being as equal in size as can be."""
        if all(self._is_fair(number, one) for number, one in enumerate(rounds, start=1)):
            return self.bound.margin_db
        wider = DayBound(self.problem, self.gear, self.frame, self._go_on, is_fair=False)
        wider.lower(min(self._worst_db(one) for one in rounds))
        return wider.margin_db

    def _is_fair(self, number: int, one: RoundPlan) -> bool:
        rules = self._rules(number)
        sizes = np.bincount(one.heat_of[one.heat_of >= 0], minlength=self.frame.heats)
        return bool(sizes.min() >= rules.smallest and sizes.max() <= rules.largest)
