"""The first round of a day, which decides the channels: several starts, each bettered by a walk."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from server.allocator import anneal
from server.allocator.bounds import DayBound
from server.allocator.conflicts import round_rules
from server.allocator.feasibility import find_round
from server.allocator.round_search import REDUCING_CHANNEL_PRICE_DB, RoundPlan, RoundSearch
from server.allocator.scoring import load_of_margin_db
from server.allocator.starts import parted_start, places_start, spaced_start

WORTH_ANOTHER_START_DB = 0.1
"""How far below the bound a round must be for the search to begin again from another parting."""

MOST_PARTINGS = 3


class FirstRoundSearch(RoundSearch):
    """Starts, the best round they lead to, and the same with as few channels as the gear allows."""

    @cached_property
    def bound(self) -> DayBound:
        """What no round can beat; lowered as the search goes on."""
        return DayBound(self.problem, self.gear, self.frame, self._go_on)

    def _starts(self) -> list[RoundPlan]:
        feasible = find_round(round_rules(self.problem))
        assert feasible is not None  # conflicts were looked for before
        return [spaced_start(self, feasible), places_start(self, feasible)]

    def _first_round(self, starts: Sequence[RoundPlan]) -> RoundPlan:
        rules = self._everybody()
        found = [self._improve(rules, start, anneal.HOTTEST_DB) for start in starts]
        found.append(self._from_parting(rules, starts[-1].channel))
        best = min(found, key=lambda one: self._rank(rules, one))
        if not self._is_sound(rules, best) and self.usable is not self.gear.usable:
            # The fixed day's set is too small for a heat: everybody may leave it, and the plan says who does.
            self.usable = self.gear.usable
            return self._first_round(self._starts())
        return best

    def _from_parting(self, rules: anneal.Round, channel: np.ndarray) -> RoundPlan:
        """Walks from the best parting, first with its compositions kept, then as cold as the first one ends."""
        among_alike = rules._replace(kind=self.bound.kinds.item_of)
        kept = self._improve(among_alike, self._parted_start(channel), anneal.HOTTEST_DB)
        return self._improve(rules, kept, anneal.MENDING_DB)

    def _parted_start(self, channel: np.ndarray) -> RoundPlan:
        bound = self.bound
        enough_db = bound.parting_db - WORTH_ANOTHER_START_DB
        return parted_start(self, bound.parting, bound.kinds, channel, self._everybody().allowed, enough_db)

    def _from_other_partings(self, rules: anneal.Round, best: RoundPlan, channel: np.ndarray) -> RoundPlan:
        """The best round after starts from further partings, each better founded than the one before."""
        for _ in range(MOST_PARTINGS):
            worst_db, before = self._worst_db(best), self.bound.parting
            if self.bound.parting_db <= worst_db + WORTH_ANOTHER_START_DB:
                break
            self.bound.lower(worst_db)
            if self.bound.parting == before:
                break
            found = self._from_parting(rules, channel)
            best = min(best, found, key=lambda one: self._rank(rules, one))
        return best

    def _fewer_channels(self, starts: Sequence[RoundPlan], floor_db: float) -> RoundPlan:
        """Fewest channels in use at no less than the floor, with no move more than in the first start."""
        first = starts[0]
        rules = self._everybody()._replace(
            target_load=load_of_margin_db(floor_db) if np.isfinite(floor_db) else 1.0,
            channel_price=REDUCING_CHANNEL_PRICE_DB,
            most_changes=self._moves(first.channel),
        )
        found = [first, *(self._improve(rules, start, REDUCING_CHANNEL_PRICE_DB) for start in starts)]
        good = [one for one in found if self._is_sound(rules, one) and self._worst_db(one) >= floor_db - 1e-9]
        return min(good, key=lambda one: (len(set(one.channel.tolist())), -self._worst_db(one)))
