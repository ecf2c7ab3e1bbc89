"""The later rounds of a day: the channels of the first, new opponents, rest between flights."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.allocator import anneal
from server.allocator.designs import places_by_channel, places_by_rank, turned
from server.allocator.errors import Cancelled
from server.allocator.feasibility import RoundRules, UndecidedError, find_round
from server.allocator.heat_order import reordered
from server.allocator.kept_channels import KeptChannelsSearch
from server.allocator.round_search import REPEAT_PRICE_DB, RoundPlan
from server.allocator.schedule import rested_heats, takes_part
from server.allocator.scoring import load_of_margin_db
from server.wording import gettext as _

LEAST_DB = -40.0
"""Margin that a round must reach which cannot be at all without changes of channel."""


class LaterRoundsSearch(KeptChannelsSearch):
    """Rounds 2 and on."""

    def _later_rounds(self, first: RoundPlan, floor_db: float) -> list[RoundPlan]:
        """All rounds, with as few changes of channel between them as are worth their price.

        The first round is as good as everybody together allows. Where a later one cannot be on its channels, and
        the worst margin of the day suffers by the price of a retune, pilots change channel before that round.
        """
        kept = self._rounds(first, floor_db, None)
        kept_db = -np.inf if kept is None else min(self._worst_db(one) for one in kept)
        enough_db = kept_db + self.problem.retune_worth_db
        if kept is not None and self._worst_db(first) < enough_db:
            return kept
        retuned = self._rounds(first, floor_db, enough_db)
        if retuned is not None and min(self._worst_db(one) for one in retuned) >= enough_db:
            return retuned
        if kept is None:
            raise Cancelled(_("no heats were found for all rounds that keep every hard rule"))
        return kept

    def _rounds(self, first: RoundPlan, floor_db: float, enough_db: float | None) -> list[RoundPlan] | None:
        """Round after round on the channels of the one before; None where one cannot be.

        enough_db   a round below that may change channels; None: no round may
        """
        rounds = [self._without_absent(first)]
        for number in range(2, self.problem.rounds + 1):
            base = replace(first, channel=rounds[-1].channel)
            rules = self._rules(number)._replace(
                can_retune=False,
                met=self._meetings(rounds),
                target_load=load_of_margin_db(floor_db) if np.isfinite(floor_db) else 1.0,
                repeat_price=REPEAT_PRICE_DB,
                channel_price=0.0,
            )
            one = self._rested_round(rules, rounds, base)
            if enough_db is not None and (one is None or self._worst_db(one) < enough_db):
                rested = self._rested(rules, rounds[-1].heat_of)
                for wish in (rested, rules):
                    better = self._retuned_round(wish, rounds[-1], one, max(enough_db, LEAST_DB))
                    if better is not None:
                        one = better
                        break
            if one is None:
                return None
            rounds.append(one)
        return rounds

    def _retuned_round(
        self, rules: anneal.Round, before: RoundPlan, one: RoundPlan | None, enough_db: float
    ) -> RoundPlan | None:
        """The round with the fewest changes of channel since the one before that walks find by halving.

        one   the round without changes, if there is any
        """
        if not rules.allowed[rules.takes_part].any(axis=1).all():
            return None
        start = RoundPlan(self._fitted(before.heat_of if one is None else one.heat_of, rules), before.channel)
        rules = rules._replace(
            can_retune=True, current=before.channel, target_load=load_of_margin_db(enough_db)
        )
        best = None
        fewest, most = 0, int(rules.takes_part.sum())
        while fewest < most or best is None:
            changes = most if best is None else (fewest + most) // 2
            trial = self._improve(rules._replace(most_changes=changes), start, anneal.HOTTEST_DB)
            is_enough = self._is_sound(rules, trial) and self._worst_db(trial) >= enough_db
            if is_enough:
                best, most = trial, int((trial.channel != before.channel).sum())
            elif best is None:
                return None
            else:
                fewest = changes + 1
        return best

    def _rested_round(
        self, rules: anneal.Round, rounds: Sequence[RoundPlan], first: RoundPlan
    ) -> RoundPlan | None:
        """The next round, rest kept where new opponents do not stand against it.

        Where a heat has as many pilots as a round has heats, everybody can meet new opponents, but only if each
        heat takes one pilot of each earlier heat: then somebody flies twice running, and rest gives way.
        """
        before = rounds[-1].heat_of
        rested = self._rested(rules, before)
        starts = [*self._turned(first, len(rounds)), before]
        if (before < 0).any():
            starts.append(first.heat_of)  # as if nobody had missed the round before
        if self.frame.largest != self.frame.heats:
            one = self._later_round(rested, [self._ordered(start, before, rested) for start in starts], first)
            if one is not None:
                return replace(one, heat_of=self._ordered(one.heat_of, before, rested))
        one = self._later_round(rules, starts, first)
        if one is None:
            return None
        orders = (self._ordered(one.heat_of, before, wish) for wish in (rested, rules))
        return next(
            (trial for order in orders if self._is_sound(rules, trial := replace(one, heat_of=order))), one
        )

    def _rested(self, rules: anneal.Round, before: np.ndarray) -> anneal.Round:
        rested = rested_heats(before, self.frame, self.problem.rest_heats)
        return rules._replace(allowed=rules.allowed & rested)

    def _ordered(self, heat_of: np.ndarray, before: np.ndarray, rules: anneal.Round) -> np.ndarray:
        return reordered(np.where(rules.takes_part, heat_of, -1), before, rules.allowed)

    def _later_round(
        self, rules: anneal.Round, starts: Sequence[np.ndarray], first: RoundPlan
    ) -> RoundPlan | None:
        """The best round found from the starts, or from any that keeps the hard rules; None if none does."""
        if not rules.allowed[rules.takes_part].any(axis=1).all():
            return None
        found = [self._improve_heats(rules, start, first) for start in starts]
        best = min(found, key=lambda one: self._rank(rules, one))
        if self._is_sound(rules, best):
            return best
        try:
            heat_of = find_round(self._fixed_rules(rules, first))
        except UndecidedError:
            return None
        return None if heat_of is None else self._improve_heats(rules, np.array(heat_of), first)

    def _improve_heats(self, rules: anneal.Round, heat_of: np.ndarray, first: RoundPlan) -> RoundPlan:
        start = RoundPlan(self._fitted(heat_of, rules), first.channel)
        return self._improve(rules, start, REPEAT_PRICE_DB * 4)

    def _fixed_rules(self, rules: anneal.Round, first: RoundPlan) -> RoundRules:
        """The hard rules of a later round, everybody on the channel of the first."""
        return RoundRules(
            choices=[
                (int(self.gear.mhz[first.channel[pilot]]),) if rules.takes_part[pilot] else None
                for pilot in range(self.count)
            ],
            allowed=rules.allowed | ~rules.takes_part[:, np.newaxis],
            apart=rules.apart & np.outer(rules.takes_part, rules.takes_part),
            together=rules.together & np.outer(rules.takes_part, rules.takes_part),
            capacity=rules.capacity,
            spacing_mhz=self.problem.minimum_spacing_mhz,
        )

    def _turned(self, first: RoundPlan, turn: int) -> list[np.ndarray]:
        """Heats of the first round turned so that nobody meets anybody again, as far as places are kept."""
        by_rank = places_by_rank(first.heat_of, first.channel, self.frame.largest)
        return [
            turned(first.heat_of, place, self.frame.heats, turn)
            for place in (places_by_channel(first.channel), by_rank)
        ]

    def _fitted(self, heat_of: np.ndarray, rules: anneal.Round) -> np.ndarray:
        """The same heats with everybody who takes part somewhere they may fly."""
        fitted = np.where(rules.takes_part, heat_of, -1)
        for pilot in np.flatnonzero(rules.takes_part):
            if fitted[pilot] < 0 or not rules.allowed[pilot, fitted[pilot]]:
                fitted[pilot] = int(np.flatnonzero(rules.allowed[pilot])[0])
        return fitted

    def _meetings(self, rounds: Sequence[RoundPlan]) -> np.ndarray:
        met = np.zeros((self.count, self.count), dtype=np.int64)
        for one in rounds:
            met += (one.heat_of[:, np.newaxis] == one.heat_of[np.newaxis, :]) & (one.heat_of >= 0)
        return met

    def _without_absent(self, first: RoundPlan) -> RoundPlan:
        there = takes_part(self.problem, self.frame, 1)
        return RoundPlan(np.where(there, first.heat_of, -1), first.channel)
