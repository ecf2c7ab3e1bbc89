"""How a question is answered: conflicts first, then the level of power, then channels for one heat or a day."""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.any_day import heats_of_day
from server.allocator.checks import broken_rules
from server.allocator.conflicts import find_conflicts, why_not
from server.allocator.day import DayAnswer, DaySearch
from server.allocator.day_rules import all_rules
from server.allocator.errors import Cancelled
from server.allocator.feasibility import UndecidedError
from server.allocator.given import GivenAnswer, channels_for_heats
from server.allocator.heat import best_channels, best_worst_margin
from server.allocator.holding import can_all_meet, can_hold, some_day
from server.allocator.kernel import Gear
from server.allocator.plan import Conflict, Cure, DayPlan, Heat, Progress, Slot, Status
from server.allocator.power import (
    SAME_LEVEL_DB,
    PowerLevel,
    hot_transmitters,
    levels_to_try,
    levels_tried,
    power_level,
)
from server.allocator.problem import DayProblem
from server.allocator.scoring import day_gear, finite_or_none, gear_of, margins_db
from server.allocator.search_words import given_words, proof_words
from server.allocator.totals import moved_pilots, repeat_pairings, retunes, rounds_of
from server.radio.grade import is_flyable, picture_grade
from server.radio.interference import site_ceiling_db
from server.wording import decimal, marked, short_decimal
from server.wording import gettext as _

PROOF_TIE_DB = 0.005
NOT_DECIDED = marked(
    "whether the hard rules can hold was not decided within the search limit: "
    "let fewer fly at once, or lift a wish between pilots"
)


@dataclass(frozen=True)
class Look:
    """A quick look at a round: worst margin and bound in dB, at a common level; or why there is none."""

    margin_db: float | None = None
    bound_db: float | None = None
    common_mw: float | None = None
    why_not: str = ""


class Planner:
    """One question on its way to an answer."""

    def __init__(self, problem: DayProblem, keep_going: Callable[[Progress], bool] | None) -> None:
        self.problem = problem
        self.caller = keep_going or (lambda _progress: True)
        self.started = time.perf_counter()
        self.nodes = 0
        self.ran_out_of_time = False
        self.is_cancelled = False
        self.notes: list[str] = []
        self.warnings: list[str] = []
        self.searches: dict[float, DaySearch] = {}

    def run(self) -> DayPlan:
        conflicts = self._conflicts()
        if conflicts and not self._can_hold_with_retunes():
            return self._finish("infeasible", (), None, None, conflicts=conflicts)
        try:
            return self._planned()
        except Cancelled:
            if not conflicts or self.is_cancelled:
                raise
            return self._finish("infeasible", (), None, None, conflicts=conflicts)

    def _planned(self) -> DayPlan:
        level = self._level()
        if self.problem.heats_given is not None:
            plan = self._given(level)
        elif self.problem.one_heat:
            plan = self._one_heat(level)
        else:
            plan = self._day(level)
        return self._with_cure(plan)

    def look(self, common_mw: float | None = None) -> Look:
        """Worst margin and bound of a round as a quick search finds them, or why hard rules forbid one.

        common_mw  the level of power; None looks for it
        """
        try:
            reason = why_not(self.problem)
            if reason:
                return Look(why_not=reason)
            all_meet = can_all_meet(self.problem)
        except UndecidedError:
            words = _(NOT_DECIDED)
            return Look(why_not=f"{words[0].upper()}{words[1:]}.")
        level = self._level() if common_mw is None else power_level(self.problem, common_mw)
        if not all_meet:
            return Look(self._any_day(level).worst_margin_db, None, level.common_mw)
        search = DaySearch(self.problem, level.powers_mw, self._go_on)
        margin, bound = search.first_round_margins_db()
        return Look(finite_or_none(margin), finite_or_none(bound), level.common_mw)

    # Rules that cannot hold

    def _conflicts(self) -> tuple[Conflict, ...]:
        try:
            return find_conflicts(self.problem)
        except UndecidedError as error:
            if self.problem.one_heat or self.problem.heats_given is not None:
                raise Cancelled(_(NOT_DECIDED)) from error
            return ()  # a search for a good day may come upon one all the same

    def _can_hold_with_retunes(self) -> bool:
        """Whether the hard rules can hold where pilots change channel between heats."""
        rules = all_rules(self.problem)
        movable = [rule for rule in rules if rule.kind != "channel"]
        try:
            return len(movable) < len(rules) and can_hold(self.problem, movable)
        except UndecidedError:
            return False

    def _day(self, level: PowerLevel) -> DayPlan:
        """The best day found, or any that keeps the hard rules where the search for a good one comes to none."""
        try:
            # The search settles the channels as if everybody were there from the start.
            plan = self._good_day(level) if can_all_meet(self.problem) else None
        except (Cancelled, UndecidedError):
            if self.is_cancelled:
                raise
            return self._any_day(level)
        return self._any_day(level) if plan is None or broken_rules(plan, self.problem) else plan

    def _any_day(self, level: PowerLevel) -> DayPlan:
        try:
            day = some_day(self.problem)
        except UndecidedError as error:
            raise Cancelled(_(NOT_DECIDED)) from error
        if day is None:
            raise Cancelled(_(NOT_DECIDED))  # it could only be with changes of channel, and none were found
        heats, gear = heats_of_day(self.problem, day, level.powers_mw, self._go_on)
        planned = tuple(
            self._heat(heat.number, heat.round, heat.rows, heat.mhz, level, gear, False) for heat in heats
        )
        self.notes.append(
            _(
                "Few heats keep every hard rule: these are the first that were found, with good channels for "
                "them. Nothing is proved of the day."
            )
        )
        channels = {row: mhz for heat in heats for row, mhz in zip(heat.rows, heat.mhz, strict=True)}
        return self._finish("feasible", planned, None, level, moves=moved_pilots(self.problem, channels))

    # Power

    def _level(self) -> PowerLevel:
        levels = levels_to_try(self.problem)
        best = levels[0]
        if len(levels) > 1:
            margins = self._margins_at(levels)
            top = max(margins)
            best = next(
                level for level, margin in zip(levels, margins, strict=True) if margin >= top - SAME_LEVEL_DB
            )
        return best

    def _margins_at(self, levels: Sequence[PowerLevel]) -> list[float]:
        if self.problem.one_heat or self.problem.heats_given is not None:
            heats = self.problem.heats_given or ([pilot.callsign for pilot in self.problem.pilots],)
            return [min(self._first_stage_db(heat, level) for heat in heats) for level in levels]
        try:
            return self._day_margins_at(levels) if can_all_meet(self.problem) else [0.0] * len(levels)
        except UndecidedError:
            return [0.0] * len(levels)  # the day is planned without a search: the lowest level

    def _day_margins_at(self, levels: Sequence[PowerLevel]) -> list[float]:
        searches = [self._day_search(level) for level in levels]
        margins = [-math.inf] * len(levels)
        for number in sorted(range(len(levels)), key=lambda one: -searches[one].bound.margin_db):
            if searches[number].bound.margin_db < max(margins) - SAME_LEVEL_DB:
                break  # neither this level nor any after it can be as good
            margins[number] = searches[number].first_round_db()
        return margins

    def _day_search(self, level: PowerLevel) -> DaySearch:
        if level.common_mw not in self.searches:
            self.searches[level.common_mw] = DaySearch(self.problem, level.powers_mw, self._go_on)
        return self.searches[level.common_mw]

    def _first_stage_db(self, heat: Sequence[str], level: PowerLevel) -> float:
        rows = [row for row, pilot in enumerate(self.problem.pilots) if pilot.callsign in heat]
        gear = gear_of(day_gear(self.problem, level.powers_mw), rows)
        answer = best_worst_margin(gear, self.problem.node_limit // 8, self.problem.seed, self._go_on)
        self.nodes += answer.nodes
        return answer.worst_margin_db

    # One heat, given heats, whole days

    def _one_heat(self, level: PowerLevel) -> DayPlan:
        gear = day_gear(self.problem, level.powers_mw)
        answer = best_channels(
            gear, self.problem.site.indifference_db, self.problem.node_limit, self.problem.seed, self._go_on
        )
        self.nodes += answer.nodes
        if not answer.mhz:
            raise Cancelled(_("the search was stopped before it found any channels"))
        self.notes.append(proof_words(answer))
        rows = range(len(self.problem.pilots))
        heat = self._heat(1, 1, rows, answer.mhz, level, gear, answer.is_exact)
        status: Status = "optimal" if answer.is_exact else "feasible"
        moves = moved_pilots(self.problem, dict(zip(rows, answer.mhz, strict=True)))
        return self._finish(status, (heat,), answer.best_margin_db, level, moves=moves)

    def _given(self, level: PowerLevel) -> DayPlan:
        index = {pilot.callsign: row for row, pilot in enumerate(self.problem.pilots)}
        heats = [[index[name] for name in heat] for heat in self.problem.heats_given or ()]
        answer = channels_for_heats(self.problem, heats, level.powers_mw, self._go_on)
        self.nodes += answer.nodes
        numbers = rounds_of(heats)
        planned = tuple(
            self._heat(
                number + 1,
                numbers[number],
                heat,
                answer.mhz[number],
                level,
                answer.gear,
                self._is_given_proved(answer, number),
            )
            for number, heat in enumerate(heats)
        )
        self.notes.append(given_words(answer))
        channels = {row: int(answer.gear.mhz[f]) for row, f in enumerate(answer.channel) if f >= 0}
        moves = moved_pilots(self.problem, channels)
        return self._finish(None, planned, answer.bound_db, level, moves=moves)

    def _is_given_proved(self, answer: GivenAnswer, number: int) -> bool:
        return answer.alone[number].is_exact and answer.alone[number].mhz == answer.mhz[number]

    def _good_day(self, level: PowerLevel) -> DayPlan:
        answer = self._day_search(level).run()
        self.nodes += sum(search.steps_done for search in self.searches.values())
        heats = tuple(
            self._heat(
                number * answer.frame.heats + heat + 1,
                number + 1,
                members,
                answer.gear.mhz[one.channel[members]].tolist(),
                level,
                answer.gear,
                False,
            )
            for number, one in enumerate(answer.rounds)
            for heat in range(answer.frame.heats)
            if len(members := np.flatnonzero(one.heat_of == heat).tolist())
        )
        self.notes += answer.notes
        self.notes.append(_found_words(bool(retunes(heats))))
        self._note_extra_channels(answer)
        return self._finish(None, heats, answer.bound_db, level, moves=answer.moves)

    def _note_extra_channels(self, answer: DayAnswer) -> None:
        """Name the pilots whose gear needs a channel outside a fixed day's set."""
        if not isinstance(self.problem.day_channels, tuple):
            return
        channel = answer.rounds[0].channel
        for pilot, f in zip(self.problem.pilots, channel, strict=True):
            if not answer.gear.in_day_set[f]:
                self.warnings.append(
                    _(
                        "%(callsign)s needs %(mhz)s MHz, outside the day's set.",
                        callsign=pilot.callsign,
                        mhz=answer.gear.mhz[f],
                    )
                )

    # The answer

    def _heat(
        self,
        number: int,
        round_number: int,
        rows: Sequence[int],
        mhz: Sequence[int],
        level: PowerLevel,
        gear: Gear,
        proved: bool,
    ) -> Heat:
        margins, stressed = margins_db(gear, list(rows), list(mhz))
        slots = [
            Slot(self.problem.pilots[row].callsign, int(own), level.powers_mw[row])
            for row, own in zip(rows, mhz, strict=True)
        ]
        return Heat(
            number,
            round_number,
            tuple(sorted(slots, key=lambda slot: (slot.mhz, slot.callsign))),
            finite_or_none(margins.min()),
            finite_or_none(stressed.min()),
            proved,
        )

    def _finish(
        self,
        status: Status | None,
        heats: tuple[Heat, ...],
        bound_db: float | None,
        level: PowerLevel | None,
        moves: int = 0,
        conflicts: tuple[Conflict, ...] = (),
    ) -> DayPlan:
        worst = min(
            (heat.worst_margin_db for heat in heats if heat.worst_margin_db is not None), default=None
        )
        stressed = [heat.stressed_margin_db for heat in heats if heat.stressed_margin_db is not None]
        bound = finite_or_none(bound_db) if bound_db is not None else None
        gap = max(0.0, bound - worst) if bound is not None and worst is not None else None
        if status is None:
            status = "optimal" if gap is None or gap <= PROOF_TIE_DB else "feasible"
        if status != "infeasible" and not is_flyable(worst):
            status = "unflyable"
        limit_s = self.problem.time_limit_s
        if self.ran_out_of_time and limit_s is not None:
            seconds = short_decimal(limit_s)
            self.notes.append(
                _(
                    "The search was stopped by the time limit of %(seconds)s s: another run may differ.",
                    seconds=seconds,
                )
            )
        largest = max((len(heat.slots) for heat in heats), default=0)
        return DayPlan(
            status=status,
            heats=heats,
            worst_margin_db=worst,
            bound_db=bound,
            gap_db=gap,
            stressed_margin_db=min(stressed, default=None),
            site_ceiling_db=site_ceiling_db(largest, self.problem.site),
            seconds=time.perf_counter() - self.started,
            nodes=self.nodes,
            retunes=retunes(heats),
            moves=moves,
            repeat_pairings=repeat_pairings(heats),
            day_channels_mhz=tuple(sorted({slot.mhz for heat in heats for slot in heat.slots})),
            common_power_mw=level.common_mw if level is not None else None,
            levels=levels_tried(self.problem, heats, level.common_mw) if level is not None else (),
            hot_transmitters=hot_transmitters(self.problem, heats, level.common_mw) if level else (),
            conflicts=conflicts,
            warnings=tuple(self.warnings),
            search_notes=tuple(self.notes),
        )

    def _with_cure(self, plan: DayPlan) -> DayPlan:
        """For a plan that nobody should fly: what one more heat brings."""
        if plan.status != "unflyable":
            return plan
        largest = max(len(heat.slots) for heat in plan.heats)
        cures = [_("Fly nearer to one's own receivers, or start farther from the other pilots.")]
        remedies: tuple[Cure, ...] = ()
        if largest > 1 and self.problem.heats_given is None:
            heats = -(-len(self.problem.pilots) // largest) + 1
            aircraft = -(-len(self.problem.pilots) // heats)
            trial = replace(self.problem, aircraft=aircraft, one_heat=False)
            look = Planner(trial, self.caller).look()
            if not look.why_not:
                words = _one_heat_more(aircraft, look.margin_db)
                cures.insert(0, words)
                remedies = (Cure("more heats", words, aircraft),)
        conflict = Conflict(
            (_("Every slot has a picture of grade 2.5 or better"),),
            _(
                "The worst slot would have grade %(grade)s: do not fly it.",
                grade=decimal(picture_grade(plan.worst_margin_db), 1),
            ),
            tuple(cures),
            is_cured_by_one_heat_more=bool(remedies),
            remedies=remedies,
        )
        return replace(plan, conflicts=(conflict,), seconds=time.perf_counter() - self.started)

    def _go_on(self, stage: str, nodes: int, margin_db: float | None) -> bool:
        if not self.caller(Progress(stage, self.nodes + nodes, margin_db)):
            self.is_cancelled = True
            raise Cancelled(_("the planning was cancelled"))
        limit = self.problem.time_limit_s
        if limit is not None and time.perf_counter() - self.started > limit:
            self.ran_out_of_time = True
        return not self.ran_out_of_time


def _found_words(changes_channels: bool) -> str:
    """How the heats of a day were found, and what of them is proved."""
    if changes_channels:
        return _(
            "Who flies when was found by local search, with changes of channel that are worth it. The bound is "
            "proved; that no other day has fewer channels or fewer repeated pairings is not."
        )
    return _(
        "Who flies when was found by local search, everybody on one channel all day. The bound is proved; that "
        "no other day has fewer channels or fewer repeated pairings is not."
    )


def _one_heat_more(aircraft: int, margin_db: float | None) -> str:
    grade = decimal(picture_grade(margin_db), 1)
    if margin_db is None:
        return _(
            "Fly one more heat a round, at most %(aircraft)s at once: worst picture grade %(grade)s.",
            aircraft=aircraft,
            grade=grade,
        )
    return _(
        "Fly one more heat a round, at most %(aircraft)s at once: worst margin %(margin)s dB, worst picture "
        "grade %(grade)s.",
        aircraft=aircraft,
        margin=decimal(margin_db, 1),
        grade=grade,
    )
