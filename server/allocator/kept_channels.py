"""Channels that transmitters are set to already: kept unless moving pilots is worth the price of a retune."""

import numpy as np

from server.allocator import anneal
from server.allocator.first_round import FirstRoundSearch
from server.allocator.round_search import RoundPlan
from server.wording import decimal, short_decimal
from server.wording import gettext as _


class KeptChannelsSearch(FirstRoundSearch):
    """As few moves from the channels that are set as lift the worst margin by their price."""

    def _kept_channels(self, free: RoundPlan) -> tuple[RoundPlan, int, tuple[str, ...]]:
        """The fewest moves whose every step is worth its price."""
        moved = self._moves(free.channel)
        if moved == 0:
            return free, 0, ()
        kept = self._with_at_most(0, free)
        if kept is None:
            kept = free
        free_db, kept_db = self._worst_db(free), self._worst_db(kept)
        notes: list[str] = []
        while np.isfinite(kept_db) and free_db >= kept_db + self.problem.retune_worth_db:
            better = self._smallest_change(kept, free, kept_db + self.problem.retune_worth_db)
            if better is None:
                break
            kept, kept_db = better, self._worst_db(better)
        moves = self._moves(kept.channel)
        if moves < moved and free_db > kept_db + 0.05:
            notes.append(
                _(
                    "Channels already set were kept: moving %(moved)s pilots instead of %(moves)s would lift the "
                    "worst margin by %(lifted_db)s dB, less than the %(worth_db)s dB that moving one must "
                    "bring.",
                    moved=moved,
                    moves=moves,
                    lifted_db=decimal(free_db - kept_db, 1),
                    worth_db=short_decimal(self.problem.retune_worth_db),
                )
            )
        return kept, moves, tuple(notes)

    def _smallest_change(self, kept: RoundPlan, free: RoundPlan, enough_db: float) -> RoundPlan | None:
        """A round with as few moves as bisection finds that reaches a margin, or None."""
        low, high = self._moves(kept.channel), self._moves(free.channel)
        best = free if self._worst_db(free) >= enough_db and high > low else None
        while high - low > 1:
            middle = (low + high) // 2
            trial = self._with_at_most(middle, kept)
            if trial is not None and self._worst_db(trial) >= enough_db:
                best, high = trial, middle
            else:
                low = middle
        return best

    def _with_at_most(self, changes: int, start: RoundPlan) -> RoundPlan | None:
        rules = self._everybody()._replace(most_changes=changes)
        channel = start.channel.copy()
        for pilot in self._changed(channel)[changes:]:
            channel[pilot] = self.gear.current[pilot]
        found = self._improve(rules, RoundPlan(start.heat_of, channel), anneal.HOTTEST_DB)
        return found if self._is_sound(rules, found) else None
