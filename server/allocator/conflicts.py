"""Why no plan exists: hard rules that conflict by themselves, while any proper part of them does not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.feasibility import RoundRules, UndecidedError, find_round, lasting_channels
from server.allocator.plan import Conflict
from server.allocator.problem import DayProblem
from server.allocator.schedule import Frame, allowed_heats, frame_of, pairs, takes_part

MOST_CONFLICTS = 3
"""Whoever has mended so many asks again."""

_ONE_HEAT_MORE = "Plan one heat more"


@dataclass(frozen=True)
class Rule:
    """One hard rule that could be lifted.

    kind    tunes, apart, together, window, spacing or capacity
    rows    the pilots it binds, by index; empty: everybody
    words   as it stands in a list; those of a rule with rows begin with a callsign
    """

    kind: str
    rows: tuple[int, ...]
    words: str
    cure: str


def round_rules(problem: DayProblem, rules: Sequence[Rule] | None = None) -> RoundRules:
    """The hard rules of the first round, or only those named."""
    frame = frame_of(problem)
    keep = {(rule.kind, rule.rows) for rule in rules} if rules is not None else None
    count = len(problem.pilots)

    def holds(kind: str, *rows: int) -> bool:
        return keep is None or (kind, rows) in keep

    allowed = allowed_heats(problem, frame, 1)
    never = _is_never_there(problem, frame)
    absent = ~takes_part(problem, frame, 1)
    lifted = [row for row in range(count) if not holds("window", row)]
    allowed[lifted] = True
    apart, together = pairs(problem, "apart"), pairs(problem, "together")
    for x in range(count):
        for y in range(x + 1, count):
            if not holds("apart", x, y):
                apart[x, y] = apart[y, x] = False
            if not holds("together", x, y):
                together[x, y] = together[y, x] = False
    # A pilot who misses the whole round binds nobody in it, but must fly once in the day.
    allowed[absent & ~never] = True
    return RoundRules(
        choices=[
            problem.choices_mhz(pilot) if holds("tunes", row) and not absent[row] else None
            for row, pilot in enumerate(problem.pilots)
        ],
        allowed=allowed,
        apart=apart,
        together=_closed(together),
        capacity=(count if problem.one_heat else problem.aircraft) if holds("capacity") else count,
        spacing_mhz=problem.minimum_spacing_mhz if holds("spacing") else 0,
    )


def _is_never_there(problem: DayProblem, frame: Frame) -> np.ndarray:
    """(N,) bool: pilots who are there for no heat of the whole day."""
    rounds = 1 if problem.one_heat else problem.rounds
    there = [takes_part(problem, frame, number) for number in range(1, rounds + 1)]
    return np.logical_not(np.logical_or.reduce(there))


def _closed(together: np.ndarray) -> np.ndarray:
    closed = together.copy()
    for middle in range(len(closed)):
        closed |= np.outer(closed[:, middle], closed[middle])
    np.fill_diagonal(closed, False)
    return closed


def all_rules(problem: DayProblem) -> list[Rule]:
    """Every hard rule of the first round that could be lifted, in words."""
    frame = frame_of(problem)
    return [
        *_tuning_rules(problem),
        *_pair_rules(problem, "apart"),
        *_pair_rules(problem, "together"),
        *_window_rules(problem, frame),
        Rule(
            "spacing",
            (),
            _spacing_words(problem),
            "Allow a smaller spacing",
        ),
        Rule(
            "capacity",
            (),
            "Everybody flies in one heat"
            if problem.one_heat
            else f"At most {problem.aircraft} fly at once, in {frame.heats} heats a round",
            _ONE_HEAT_MORE,
        ),
    ]


def _tuning_rules(problem: DayProblem) -> list[Rule]:
    found = []
    for row, pilot in enumerate(problem.pilots):
        choices = problem.choices_mhz(pilot)
        if not choices:
            words = f"{pilot.callsign} can use no channel of this day"
        elif len(choices) <= 3:
            words = f"{pilot.callsign} can use only {' or '.join(str(mhz) for mhz in choices)} MHz"
        else:
            words = (
                f"{pilot.callsign} can use only {len(choices)} channels, {choices[0]} to {choices[-1]} MHz"
            )
        cure = f"Lift {pilot.callsign}'s pin" if pilot.pin_mhz else f"Give {pilot.callsign} other gear"
        found.append(Rule("tunes", (row,), words, cure))
    return found


def _pair_rules(problem: DayProblem, kind: str) -> list[Rule]:
    names = [pilot.callsign for pilot in problem.pilots]
    words = "never share a heat" if kind == "apart" else "always fly in the same heat"
    return [
        Rule(
            kind,
            (int(x), int(y)),
            f"{names[x]} and {names[y]} {words}",
            f"Lift that {names[x]} and {names[y]} {words}",
        )
        for x, y in zip(*np.nonzero(np.triu(pairs(problem, kind))), strict=True)
    ]


def _window_rules(problem: DayProblem, frame: Frame) -> list[Rule]:
    allowed = allowed_heats(problem, frame, 1)
    is_bound = takes_part(problem, frame, 1) | _is_never_there(problem, frame)
    found = []
    for row, pilot in enumerate(problem.pilots):
        if allowed[row].all() or not is_bound[row]:
            continue
        heats = ", ".join(str(heat + 1) for heat in np.flatnonzero(allowed[row]))
        words = (
            f"{pilot.callsign} flies only in heat {heats}"
            if heats
            else f"{pilot.callsign} may fly in no heat"
        )
        found.append(Rule("window", (row,), words, f"Let {pilot.callsign} fly in any heat"))
    return found


def can_hold(problem: DayProblem) -> bool:
    """Whether the hard rules of a first round can hold together. Raises UndecidedError at the node limit."""
    return find_round(round_rules(problem)) is not None


def find_conflicts(problem: DayProblem) -> tuple[Conflict, ...]:
    """Irreducible sets of rules that cannot hold together, one after the other; none where all rules can hold.

    Each further set is looked for with the rules about pilots of those before it lifted, so that it is about
    something else; what binds everybody stays. Raises UndecidedError at the node limit.
    """
    if can_hold(problem):
        return ()
    rules = all_rules(problem)
    found: list[Conflict] = []
    while len(found) < MOST_CONFLICTS:
        needed = _irreducible(problem, rules)
        found.append(_conflict(needed, _is_cured_by_one_heat_more(problem, needed)))
        rules = [rule for rule in rules if rule not in needed or not rule.rows]
        try:
            is_cured = find_round(round_rules(problem, rules)) is not None
        except UndecidedError:
            is_cured = True
        if is_cured or all(not rule.rows for rule in needed):
            break
    return tuple(found)


def _irreducible(problem: DayProblem, rules: Sequence[Rule]) -> list[Rule]:
    """Of rules that conflict, some that still do and none of which is idle.

    Rules are lifted one after the other; one whose lifting cures nothing stays lifted. What remains
    conflicts, and without any one of its rules it does not.
    """
    needed = list(rules)
    for rule in rules:
        without = [other for other in needed if other is not rule]
        try:
            if find_round(round_rules(problem, without)) is None:
                needed = without
        except UndecidedError:
            continue
    return needed


def _is_cured_by_one_heat_more(problem: DayProblem, needed: Sequence[Rule]) -> bool:
    """Whether one heat more cures these rules, or by itself the whole day.

    So many heats and no more is no rule of its own: where too many pilots share too few channels, no rule
    that could be lifted says it, and to fly fewer at once is the cure all the same.
    """
    if any(rule.kind == "capacity" for rule in needed):
        return True
    if problem.one_heat or problem.heats_given is not None:
        return False
    heats = frame_of(problem).heats + 1
    fewer = replace(problem, aircraft=max(1, -(-len(problem.pilots) // heats)))
    if frame_of(fewer).heats < heats:
        return False
    try:
        return can_hold(fewer)
    except UndecidedError:
        return False


def _conflict(rules: Sequence[Rule], is_cured_by_one_heat_more: bool) -> Conflict:
    cures = [rule.cure for rule in rules]
    if is_cured_by_one_heat_more and _ONE_HEAT_MORE not in cures:
        cures.insert(0, _ONE_HEAT_MORE)
    return Conflict(
        tuple(rule.words for rule in rules),
        _sentence([rule.words if rule.rows else _within_a_sentence(rule.words) for rule in rules]),
        tuple(dict.fromkeys(cures)),
        is_cured_by_one_heat_more=is_cured_by_one_heat_more,
    )


def find_lasting_conflict(problem: DayProblem, heats: Sequence[Sequence[str]]) -> Conflict | None:
    """As few given heats as cannot all fly while everybody keeps one channel, or None where all can."""
    aloft = [pilot for pilot in problem.pilots if any(pilot.callsign in heat for heat in heats)]
    index = {pilot.callsign: row for row, pilot in enumerate(aloft)}
    choices = [problem.choices_mhz(pilot) for pilot in aloft]

    def hold(some: Sequence[int]) -> bool:
        rows = [[index[name] for name in heats[number]] for number in some]
        return lasting_channels(choices, rows, problem.minimum_spacing_mhz) is not None

    needed = list(range(len(heats)))
    if hold(needed):
        return None
    for number in range(len(heats)):
        without = [other for other in needed if other != number]
        if not hold(without):
            needed = without
    words = (
        *(f"Heat {number + 1} holds {', '.join(heats[number])}" for number in needed),
        "Everybody keeps one channel all day",
        _spacing_words(problem),
    )
    return Conflict(
        words,
        _sentence([_within_a_sentence(one) for one in words]),
        ("Exchange pilots between these heats", "Allow a smaller spacing"),
    )


def _spacing_words(problem: DayProblem) -> str:
    return f"No two pilots of a heat are closer than {problem.minimum_spacing_mhz} MHz"


def _within_a_sentence(words: str) -> str:
    return words[0].lower() + words[1:]


def _sentence(words: Sequence[str]) -> str:
    if len(words) == 1:
        return f"{words[0]}."
    return f"These cannot all hold: {'; '.join(words)}."
