"""Why no plan exists: hard rules that conflict by themselves, while any proper part of them does not."""

from collections.abc import Collection, Sequence

from server.allocator.conflict_words import sentence
from server.allocator.cures import cures_of
from server.allocator.day_rules import Rule, all_rules, round_rules
from server.allocator.feasibility import UndecidedError
from server.allocator.holding import can_hold
from server.allocator.plan import Conflict
from server.allocator.problem import DayProblem

__all__ = ["all_rules", "can_hold", "find_conflicts", "round_rules"]

MOST_CONFLICTS = 3
"""Whoever has mended so many asks again."""


def find_conflicts(problem: DayProblem) -> tuple[Conflict, ...]:
    """Irreducible sets of rules of a day that cannot hold together, one after the other; none where all can.

    Each further set is looked for with the rules about pilots of those before it lifted, so that it is about
    something else; what binds everybody stays. Raises UndecidedError where it is not known whether all hold.
    """
    rules = all_rules(problem)
    if can_hold(problem, rules):
        return ()
    found: list[Conflict] = []
    while len(found) < MOST_CONFLICTS:
        needed = irreducible(problem, rules)
        conflict = _conflict(problem, needed)
        if conflict.explanation not in [one.explanation for one in found]:
            found.append(conflict)
        rules = [rule for rule in rules if rule not in needed or not rule.rows]
        if all(not rule.rows for rule in needed) or not _is_conflict(problem, rules):
            break
    return tuple(found)


def why_not(problem: DayProblem) -> str:
    """The first conflict of a day in one sentence, empty where all rules can hold. Raises UndecidedError."""
    rules = all_rules(problem)
    return "" if can_hold(problem, rules) else sentence(problem, irreducible(problem, rules))


def irreducible(problem: DayProblem, rules: Sequence[Rule]) -> list[Rule]:
    """Of rules that conflict, some that still do and none of which is idle; rules late in the list are kept first.

    That a round has so many heats comes in last: what would conflict in any number of heats says so without it.
    Halves are split off until what is left conflicts only together (Junker 2004, "QUICKXPLAIN: preferred
    explanations and relaxations for over-constrained problems").
    """
    last_first = list(rules)[::-1]
    by_preference = sorted(last_first, key=lambda rule: rule.kind == "heats")
    kept = set(_explain(problem, [], False, by_preference))
    return [rule for rule in rules if rule in kept]


def _explain(problem: DayProblem, held: list[Rule], has_grown: bool, rules: list[Rule]) -> list[Rule]:
    if has_grown and _is_conflict(problem, held):
        return []
    if len(rules) == 1:
        return rules
    middle = len(rules) // 2
    first, second = rules[:middle], rules[middle:]
    of_second = _explain(problem, held + first, True, second)
    of_first = _explain(problem, held + of_second, bool(of_second), first)
    return of_first + of_second


def _is_conflict(problem: DayProblem, rules: Collection[Rule]) -> bool:
    """Whether rules provably cannot hold together."""
    try:
        return not can_hold(problem, rules)
    except UndecidedError:
        return False


def _conflict(problem: DayProblem, needed: Sequence[Rule]) -> Conflict:
    cures = cures_of(problem, needed)
    return Conflict(
        tuple(rule.words for rule in needed),
        sentence(problem, needed),
        tuple(cure.words for cure in cures),
        is_cured_by_one_heat_more=any(cure.kind == "more heats" for cure in cures),
        remedies=tuple(cures),
    )
