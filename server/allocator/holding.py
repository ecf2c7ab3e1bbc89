"""Whether some hard rules of a day can hold together, and a day that keeps them."""

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from server.allocator.day_rules import (
    Rule,
    all_rules,
    bound_rows,
    choices_under,
    round_rules,
    rounds_of,
    who_is_never_there,
)
from server.allocator.feasibility import RoundRules, lasting_channels, spaced_channels
from server.allocator.problem import DayProblem
from server.allocator.schedule import frame_of, takes_part
from server.allocator.whole_days import WholeDay, find_day


def can_hold(problem: DayProblem, rules: Collection[Rule] | None = None) -> bool:
    """Whether all hard rules of a day, or those named, can hold together. Raises UndecidedError at a limit."""
    kept = frozenset(all_rules(problem) if rules is None else rules)
    rows = bound_rows(kept)
    if not rows:
        return True
    if problem.heats_given is not None:
        return _given_heats_hold(problem, kept)
    return not who_is_never_there(problem, kept) and _day_of(problem, kept, rows) is not None


def some_day(problem: DayProblem) -> WholeDay | None:
    """A day that keeps all hard rules, None if there is provably none. Raises UndecidedError at a limit."""
    kept = frozenset(all_rules(problem))
    if who_is_never_there(problem, kept):
        return None
    return _day_of(problem, kept, range(len(problem.pilots)))


def can_all_meet(problem: DayProblem) -> bool:
    """Whether the first round of a day that can hold also could if those who miss it were there, in any heat.

    Raises UndecidedError at a limit.
    """
    flies = takes_part(problem, frame_of(problem), 1)
    if flies.all():
        return True
    pilots = tuple(
        pilot if is_there else replace(pilot, after=None, before=None, heat=None)
        for pilot, is_there in zip(problem.pilots, flies, strict=True)
    )
    return can_hold(replace(problem, pilots=pilots, rounds=1))


def _day_of(problem: DayProblem, kept: Collection[Rule], rows: Sequence[int]) -> WholeDay | None:
    """A day for some pilots only. Whom no rule binds finds a place in any such day, so need not be looked at."""
    numbers = range(1, rounds_of(problem) + 1)
    rounds = [_only(round_rules(problem, kept, number), rows) for number in numbers]
    return find_day(rounds, Rule("channel") in kept)


def _only(rules: RoundRules, rows: Sequence[int]) -> RoundRules:
    pairs = np.ix_(rows, rows)
    return replace(
        rules,
        choices=[rules.choices[row] for row in rows],
        allowed=rules.allowed[rows],
        apart=rules.apart[pairs],
        together=rules.together[pairs],
    )


def _given_heats_hold(problem: DayProblem, kept: Collection[Rule]) -> bool:
    heats = [rule.rows for rule in sorted(kept, key=lambda one: one.number) if rule.kind == "given"]
    for rule in kept:
        if rule.kind == "apart" and any(set(rule.rows) <= set(heat) for heat in heats):
            return False
    choices = {row: choices_under(problem, row, kept) for heat in heats for row in heat}
    spacing_mhz = problem.minimum_spacing_mhz if Rule("spacing") in kept else 0
    if Rule("channel") not in kept:
        alone = (spaced_channels([choices[row] for row in heat], spacing_mhz) for heat in heats)
        return all(found is not None for found in alone)
    aloft = [(row, own) for row, own in choices.items() if own is not None]
    place = {row: number for number, (row, _) in enumerate(aloft)}
    bound = [[place[row] for row in heat if row in place] for heat in heats]
    return lasting_channels([own for _, own in aloft], bound, spacing_mhz) is not None
