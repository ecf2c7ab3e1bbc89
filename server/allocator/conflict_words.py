"""A conflict in one plain sentence: who cannot do what, all of which cannot be at once."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.allocator.day_rules import Kind, Rule, channels_words, names_words, rounds_of
from server.allocator.problem import DayProblem
from server.allocator.schedule import frame_of

MOST_NAMED = 3
_COUNTS = [
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
]


@dataclass(frozen=True)
class _Clause:
    """names of pilots, if it is about some; what is said of one of them, and of several."""

    names: tuple[str, ...]
    of_one: str
    of_several: str

    def words(self, before: tuple[str, ...]) -> str:
        """before: whom the clause before it named."""
        if not self.names:
            return self.of_one
        if len(self.names) == 1:
            return self.of_one if self.names == before else f"{self.names[0]} {self.of_one}"
        if self.names == before:
            return f"they {self.of_several}"
        if len(self.names) > MOST_NAMED:
            return f"{_counted(len(self.names))} pilots {self.of_several}"
        return f"{names_words(self.names)} {self.of_several}"


def sentence(problem: DayProblem, rules: Sequence[Rule]) -> str:
    """ "Otter and Rook can use only 5800 MHz, and they always fly in the same heat." """
    spoken: list[str] = []
    before: tuple[str, ...] = ()
    for clause in _clauses(problem, rules):
        spoken.append(clause.words(before))
        before = clause.names or before
    text = spoken[0] if len(spoken) == 1 else f"{', '.join(spoken[:-1])}, and {spoken[-1]}"
    return f"{text[0].upper()}{text[1:]}."


def _clauses(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    def of(kind: Kind) -> list[Rule]:
        return [rule for rule in rules if rule.kind == kind]

    yield from _alike(problem, of("tunes"), _own_channels, "can use only {}", "can use only {}")
    yield from _alike(problem, of("pin"), _pinned_channels, "is pinned to {}", "are pinned to {}")
    if bans := [str(rule.number) for rule in of("ban")]:
        yield _Clause((), f"{names_words(bans)} MHz {'is' if len(bans) == 1 else 'are'} out of use today", "")
    yield from _together(problem, of("together"))
    yield from _apart(problem, of("apart"))
    yield from _alike(
        problem, of("after"), _after, "is there only after heat {}", "are there only after heat {}"
    )
    yield from _alike(
        problem, of("before"), _before, "is there only before heat {}", "are there only before heat {}"
    )
    yield from _alike(problem, of("heat"), _heat, "is set for heat {}", "are set for heat {}")
    for rule in of("given"):
        names = _names(problem, rule.rows)
        yield _Clause(names, f"flies in heat {rule.number}", f"fly together in heat {rule.number}")
    yield from _of_everybody(problem, rules)


def _of_everybody(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    kinds = {rule.kind for rule in rules}
    if "capacity" in kinds:
        most = problem.aircraft
        yield _Clause((), "one flies at a time" if most == 1 else f"at most {_counted(most)} fly at once", "")
    if "heats" in kinds:
        yield _Clause((), _heats(problem, is_of_day=bool(kinds & {"after", "before"})), "")
    if "channel" in kinds:
        yield _Clause((), "everybody keeps one channel all day", "")
    if "spacing" in kinds and _is_about_distance(problem, rules):
        yield _Clause((), f"two pilots of a heat need {problem.minimum_spacing_mhz} MHz between them", "")


def _heats(problem: DayProblem, is_of_day: bool) -> str:
    heats, rounds = frame_of(problem).heats, rounds_of(problem)
    if problem.one_heat:
        return "everybody flies in one heat"
    if is_of_day or rounds == 1:
        heats *= rounds
        return f"the day has {_counted(heats)} heat{'' if heats == 1 else 's'}"
    return f"a round has {_counted(heats)} heat{'' if heats == 1 else 's'}"


def _alike(
    problem: DayProblem,
    rules: Sequence[Rule],
    value_of: Callable[[DayProblem, int], tuple[int, ...]],
    of_one: str,
    of_several: str,
) -> Iterator[_Clause]:
    """One clause for all of whom the same is said; one for all together if there would be more than two."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for rule in rules:
        groups.setdefault(value_of(problem, rule.rows[0]), []).append(rule.rows[0])
    if len(groups) > 2 and value_of is _own_channels:
        rows = sorted(row for members in groups.values() for row in members)
        groups = {tuple(sorted({mhz for value in groups for mhz in value})): rows}
    for value, rows in groups.items():
        names = _names(problem, rows)
        if not value:
            yield _Clause(names, "can use no channel of this day", "can use no channel of this day")
            continue
        shown = channels_words(value) if value_of in (_own_channels, _pinned_channels) else str(value[0])
        yield _Clause(names, of_one.format(shown), of_several.format(shown))


def _own_channels(problem: DayProblem, row: int) -> tuple[int, ...]:
    return tuple(sorted(set(problem.pilots[row].channels_mhz)))


def _pinned_channels(problem: DayProblem, row: int) -> tuple[int, ...]:
    return tuple(sorted(set(problem.pilots[row].pin_mhz)))


def _after(problem: DayProblem, row: int) -> tuple[int, ...]:
    return (problem.pilots[row].after or 0,)


def _before(problem: DayProblem, row: int) -> tuple[int, ...]:
    return (problem.pilots[row].before or 0,)


def _heat(problem: DayProblem, row: int) -> tuple[int, ...]:
    return (problem.pilots[row].heat or 0,)


def _together(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    """Pairs that hang together are named at once."""
    groups: list[set[int]] = []
    for rule in rules:
        joined = set(rule.rows).union(*(group for group in groups if group & set(rule.rows)))
        groups = [*(group for group in groups if not group & joined), joined]
    for group in groups:
        yield _Clause(_names(problem, sorted(group)), "", "always fly in the same heat")


def _apart(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    """All at once if no two of them may meet, else pair by pair."""
    rows = sorted({row for rule in rules for row in rule.rows})
    is_plain = all("never share" in rule.words for rule in rules)
    if rules and is_plain and len(rules) == len(rows) * (len(rows) - 1) // 2:
        yield _Clause(_names(problem, rows), "", "never share a heat")
        return
    for rule in rules:
        yield _Clause((), rule.words, "")


def _is_about_distance(problem: DayProblem, rules: Sequence[Rule]) -> bool:
    """Whether two channels of those concerned are too near; that one cannot be shared goes without saying."""
    found: set[int] = set()
    for rule in rules:
        if rule.kind == "pin":
            found.update(problem.pilots[rule.rows[0]].pin_mhz)
        if rule.kind == "tunes":
            found.update(problem.pilots[rule.rows[0]].channels_mhz)
    return any(high - low < problem.minimum_spacing_mhz for low, high in pairwise(sorted(found)))


def _names(problem: DayProblem, rows: Sequence[int]) -> tuple[str, ...]:
    return tuple(problem.pilots[row].callsign for row in rows)


def _counted(count: int) -> str:
    return _COUNTS[count] if count < len(_COUNTS) else str(count)
