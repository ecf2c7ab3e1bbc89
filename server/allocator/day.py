"""A whole day: who flies when, everybody on one channel all day.

1. The first round decides the channels: several starts, each improved by annealing, the best kept.
2. Channels already set are kept unless moving pilots lifts the worst margin by the price of a retune.
3. As few different channels as the gear allows, at no more than ``mix_worth_db`` below the best margin.
4. The later rounds keep the channels and mix the opponents.

The heats of a day are found by local search: the bound says how far the worst margin can be from the best.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.allocator import anneal
from server.allocator.bounds import day_bound_db
from server.allocator.conflicts import round_rules
from server.allocator.errors import Cancelled
from server.allocator.feasibility import RoundRules, UndecidedError, find_round, spaced_channels
from server.allocator.heat import KeepGoing
from server.allocator.kernel import Gear
from server.allocator.places import channels_of_places, places_of_day
from server.allocator.problem import DayProblem
from server.allocator.schedule import Frame, allowed_heats, frame_of, pairs, rested_heats, takes_part
from server.allocator.scoring import day_gear, load_of_margin_db, margins_db

STEPS_A_PILOT = 500
LEAST_STEPS, MOST_STEPS = 4_000, 40_000
CHUNK_STEPS = 1_500
"""Steps between two looks at cancel and clock; well below 50 ms with eight in a heat."""

FIRST_CHANNEL_PRICE_DB = 0.02
REDUCING_CHANNEL_PRICE_DB = 1.0
REPEAT_PRICE_DB = 0.05


@dataclass(frozen=True)
class RoundPlan:
    """heat_of (N,): heat of every pilot in a round, -1 for one who sits it out; channel (N,): by index."""

    heat_of: np.ndarray
    channel: np.ndarray


@dataclass(frozen=True)
class DayAnswer:
    """rounds: one a round; channels are the same in all of them."""

    gear: Gear
    frame: Frame
    rounds: tuple[RoundPlan, ...]
    bound_db: float
    moves: int
    notes: tuple[str, ...]


class DaySearch:
    """The search for a day with given powers (N,) in mW."""

    def __init__(self, problem: DayProblem, powers_mw: Sequence[float], keep_going: KeepGoing) -> None:
        self.problem = problem
        self.powers_mw = powers_mw
        self.keep_going = keep_going
        self.frame = frame_of(problem)
        self.gear = day_gear(problem, powers_mw)
        self.count = len(problem.pilots)
        self.random = np.array([np.uint64(0x9E3779B97F4A7C15 + problem.seed)], dtype=np.uint64)
        self.apart = pairs(problem, "apart")
        self.together = pairs(problem, "together")
        self.usable = self._in_day_set_first()
        self.steps_done = 0
        self.was_stopped = False

    def run(self) -> DayAnswer:
        bound_db = self._bound_db()
        starts = self._starts()
        first, moves, notes = self._kept_channels(self._first_round(starts))
        floor_db = self._worst_db(first) - self.problem.mix_worth_db
        if self.problem.day_channels == "auto":
            first = self._fewer_channels([first, *starts], floor_db)
        rounds = self._later_rounds(first, floor_db)
        return DayAnswer(self.gear, self.frame, tuple(rounds), bound_db, moves, notes)

    def _bound_db(self) -> float:
        rounds = range(1, self.problem.rounds + 1)
        everybody = [
            np.flatnonzero(takes_part(self.problem, self.frame, number)).tolist() for number in rounds
        ]
        fullest = max(everybody, key=len)
        surest = self._surest_heats(len(fullest))
        return day_bound_db(self.problem, self.gear, self.powers_mw, surest, fullest, self._go_on)

    def _surest_heats(self, present: int) -> Frame:
        """The fewest of so many pilots that any heat, and that the largest heat, is sure to hold."""
        heats = self.frame.heats
        return Frame(heats, max(1, present - (heats - 1) * self.problem.aircraft), -(-present // heats))

    # The first round

    def first_round_margins_db(self) -> tuple[float, float]:
        """Worst margin that a quick look at the first round finds, and its bound; for comparing."""
        return self._worst_db(self._first_round(self._starts())), self._bound_db()

    def _starts(self) -> list[RoundPlan]:
        feasible = find_round(round_rules(self.problem))
        assert feasible is not None  # conflicts were looked for before
        return [self._spaced_start(feasible), self._places_start(feasible)]

    def _first_round(self, starts: Sequence[RoundPlan]) -> RoundPlan:
        rules = self._everybody()
        found = [self._improve(rules, start, anneal.HOTTEST_DB) for start in starts]
        best = min(found, key=lambda one: self._rank(rules, one))
        if not self._is_sound(rules, best) and self.usable is not self.gear.usable:
            # The fixed day's set is too small for a heat: everybody may leave it, and the plan says who does.
            self.usable = self.gear.usable
            return self._first_round(self._starts())
        return best

    def _spaced_start(self, heat_of: Sequence[int]) -> RoundPlan:
        """Any channels that keep the spacing in every heat of a feasible round."""
        channel = np.zeros(self.count, dtype=np.int64)
        for heat in range(self.frame.heats):
            members = [pilot for pilot in range(self.count) if heat_of[pilot] == heat]
            options = [tuple(int(mhz) for mhz in self.gear.mhz[self.usable[pilot]]) for pilot in members]
            spaced = spaced_channels(options, self.problem.minimum_spacing_mhz)
            for place, pilot in enumerate(members):
                mhz = (spaced[place] if spaced is not None else None) or options[place][0]
                channel[pilot] = int(np.searchsorted(self.gear.mhz, mhz))
        return RoundPlan(np.array(heat_of, dtype=np.int64), channel)

    def _places_start(self, heat_of: Sequence[int]) -> RoundPlan:
        """Pilots packed into the places of a typical heat, each place dealt over the heats.

        Who fits in no place gets the own channel nearest to one of the places.
        """
        choices = [frozenset(self.gear.mhz[own].tolist()) for own in self.usable]
        places = places_of_day(choices, self.frame.largest, self.frame.heats)
        mhz = channels_of_places(self.problem, places, self.powers_mw, self._go_on)
        if not mhz:
            return self._spaced_start(heat_of)
        place_of = {pilot: number for number, place in enumerate(places) for pilot in place.pilots}
        channel = np.zeros(self.count, dtype=np.int64)
        for pilot in range(self.count):
            own = np.flatnonzero(self.usable[pilot])
            if pilot in place_of:
                channel[pilot] = np.searchsorted(self.gear.mhz, mhz[place_of[pilot]])
            else:
                away = np.abs(self.gear.mhz[own, np.newaxis] - np.array(mhz)).min(axis=1)
                channel[pilot] = own[away.argmin()]
        dealt = np.array(heat_of, dtype=np.int64)
        in_order = sorted(range(self.count), key=lambda one: (place_of.get(one, len(places)), one))
        for number, pilot in enumerate(in_order):
            if not self.together[pilot].any():
                dealt[pilot] = number % self.frame.heats
        return RoundPlan(dealt, channel)

    # Channels that are set already

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
                f"Channels already set were kept: moving {moved} pilots instead of {moves} would lift the "
                f"worst margin by {free_db - kept_db:.1f} dB, less than the "
                f"{self.problem.retune_worth_db:g} dB that moving one must bring."
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

    def _changed(self, channel: np.ndarray) -> list[int]:
        current = self.gear.current
        return [
            pilot
            for pilot in range(self.count)
            if current[pilot] >= 0 and current[pilot] != channel[pilot] and self.usable[pilot, current[pilot]]
        ]

    def _moves(self, channel: np.ndarray) -> int:
        return int(((self.gear.current >= 0) & (self.gear.current != channel)).sum())

    # Fewer channels

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

    # Later rounds

    def _later_rounds(self, first: RoundPlan, floor_db: float) -> list[RoundPlan]:
        rounds = [self._without_absent(first)]
        for number in range(2, self.problem.rounds + 1):
            before = rounds[-1].heat_of
            rules = self._rules(number)._replace(
                can_retune=False,
                met=self._meetings(rounds),
                target_load=load_of_margin_db(floor_db) if np.isfinite(floor_db) else 1.0,
                repeat_price=REPEAT_PRICE_DB,
                channel_price=0.0,
            )
            rested = rules.allowed & rested_heats(before, self.frame, self.problem.rest_heats)
            # Where a heat has no more pilots than a round has heats, everybody can meet new opponents, but
            # only if each heat takes one pilot of each earlier heat: then new opponents come before rest.
            wants_rest = self.frame.largest > self.frame.heats
            starts = [self._shifted(first, number - 1), before]
            one = self._later_round(rules._replace(allowed=rested), starts, first) if wants_rest else None
            one = one or self._later_round(rules, starts, first)
            if one is None:
                raise Cancelled(f"no heats were found for round {number} that keep every hard rule")
            rounds.append(one)
        return rounds

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

    def _shifted(self, first: RoundPlan, shift: int) -> np.ndarray:
        """Heats of the first round turned by the place of the channel.

        With H heats, H prime, and at most H channels no two pilots meet twice in H rounds: the lines of an
        affine plane (transversal design, Handbook of Combinatorial Designs).
        """
        place = np.searchsorted(np.unique(first.channel), first.channel)
        return np.where(first.heat_of < 0, -1, (first.heat_of + shift * place) % self.frame.heats)

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

    # Shared

    def _in_day_set_first(self) -> np.ndarray:
        """Channels that may be tried: those of a fixed day's set wherever a pilot has one of them."""
        inside = self.gear.usable & self.gear.in_day_set
        return np.where(inside.any(axis=1, keepdims=True), inside, self.gear.usable)

    def _everybody(self) -> anneal.Round:
        """The first round as if nobody came late: channels must hold when all are there."""
        rules = self._rules(1)
        return rules._replace(
            takes_part=np.ones(self.count, dtype=np.bool_),
            allowed=rules.allowed | ~rules.takes_part[:, np.newaxis],
            smallest=self.frame.smallest,
            largest=self.frame.largest,
        )

    def _without_absent(self, first: RoundPlan) -> RoundPlan:
        there = takes_part(self.problem, self.frame, 1)
        return RoundPlan(np.where(there, first.heat_of, -1), first.channel)

    def _rules(self, number: int) -> anneal.Round:
        allowed = allowed_heats(self.problem, self.frame, number)
        there = takes_part(self.problem, self.frame, number)
        present = int(there.sum())
        return anneal.Round(
            takes_part=there,
            allowed=allowed,
            apart=self.apart,
            together=self.together,
            met=np.zeros((self.count, self.count), dtype=np.int64),
            usable=self.usable,
            current=self.gear.current,
            most_changes=self.count,
            smallest=present // self.frame.heats,
            largest=-(-present // self.frame.heats),
            capacity=self.problem.aircraft,
            can_retune=True,
            target_load=0.0,
            repeat_price=0.0,
            channel_price=FIRST_CHANNEL_PRICE_DB,
        )

    def _improve(self, rules: anneal.Round, start: RoundPlan, hottest_db: float) -> RoundPlan:
        heat_of, channel = start.heat_of.copy(), start.channel.copy()
        chunks = -(-min(MOST_STEPS, max(LEAST_STEPS, STEPS_A_PILOT * self.count)) // CHUNK_STEPS)
        cooling = (anneal.COLDEST_DB / hottest_db) ** (1.0 / chunks)
        temperature = hottest_db
        for _ in range(chunks):
            if self.was_stopped:
                break
            anneal.improve(
                self.gear,
                rules,
                self.frame.heats,
                heat_of,
                channel,
                CHUNK_STEPS,
                temperature,
                temperature * cooling,
                self.random,
            )
            temperature *= cooling
            self.steps_done += CHUNK_STEPS
            self._go_on("heats of the day", self.steps_done, None)
        return RoundPlan(heat_of, channel)

    def _go_on(self, stage: str, nodes: int, margin_db: float | None) -> bool:
        if not self.was_stopped and not self.keep_going(stage, nodes, margin_db):
            self.was_stopped = True
        return not self.was_stopped

    def _is_sound(self, rules: anneal.Round, one: RoundPlan) -> bool:
        """Whether a round breaks no hard rule. Its energy alone does not tell: a good margin lowers it."""
        return self._broken(rules, one) == 0.0

    def _broken(self, rules: anneal.Round, one: RoundPlan) -> float:
        return float(anneal.broken_rules(self.gear, rules, self.frame.heats, one.heat_of, one.channel))

    def _rank(self, rules: anneal.Round, one: RoundPlan) -> tuple[float, float, float]:
        """Broken hard rules first, then the energy as it stands, then the margin; smaller is better."""
        energy = anneal.improve(
            self.gear,
            rules,
            self.frame.heats,
            one.heat_of.copy(),
            one.channel.copy(),
            0,
            1.0,
            1.0,
            self.random,
        )
        return self._broken(rules, one), float(energy), -self._worst_db(one)

    def _worst_db(self, one: RoundPlan) -> float:
        return min(self.heat_margin_db(one, heat) for heat in range(self.frame.heats))

    def heat_margin_db(self, one: RoundPlan, heat: int) -> float:
        """Worst margin of a heat in dB; infinite for fewer than two."""
        members = np.flatnonzero(one.heat_of == heat)
        if len(members) < 2:
            return np.inf
        mhz = self.gear.mhz[one.channel[members]]
        return float(margins_db(self.gear, members.tolist(), mhz.tolist())[0].min())
