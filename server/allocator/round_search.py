"""One round of a day: the rules it keeps to, and the walk that betters its heats and channels."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.allocator import anneal
from server.allocator.heat import KeepGoing
from server.allocator.problem import DayProblem
from server.allocator.schedule import allowed_heats, frame_of, heat_sizes, pairs, takes_part
from server.allocator.scoring import day_gear, margins_db
from server.wording import marked

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


class RoundSearch:
    """What every step of the search for a day shares; powers (N,) in mW."""

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

    def _rules(self, number: int) -> anneal.Round:
        allowed = allowed_heats(self.problem, self.frame, number)
        there = takes_part(self.problem, self.frame, number)
        smallest, largest = heat_sizes(self.frame, int(there.sum()), self.count)
        return anneal.Round(
            takes_part=there,
            allowed=allowed,
            apart=self.apart,
            together=self.together,
            kind=np.full(self.count, -1, dtype=np.int64),
            met=np.zeros((self.count, self.count), dtype=np.int64),
            usable=self.usable,
            current=self.gear.current,
            most_changes=self.count,
            smallest=smallest,
            largest=largest,
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
            self._go_on(marked("heats of the day"), self.steps_done, None)
        return RoundPlan(heat_of, channel)

    def _changed(self, channel: np.ndarray) -> list[int]:
        current = self.gear.current
        return [
            pilot
            for pilot in range(self.count)
            if current[pilot] >= 0 and current[pilot] != channel[pilot] and self.usable[pilot, current[pilot]]
        ]

    def _moves(self, channel: np.ndarray) -> int:
        return int(((self.gear.current >= 0) & (self.gear.current != channel)).sum())

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
        """Worst margin of a heat in dB; infinite where nothing interferes."""
        members = np.flatnonzero(one.heat_of == heat)
        if not len(members):
            return np.inf
        mhz = self.gear.mhz[one.channel[members]]
        return float(margins_db(self.gear, members.tolist(), mhz.tolist())[0].min())
