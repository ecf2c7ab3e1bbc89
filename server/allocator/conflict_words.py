"""A conflict in one plain sentence: who cannot do what, all of which cannot be at once."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.allocator.day_rules import Kind, Rule, channels_words, is_for_spotter, names_words, rounds_of
from server.allocator.problem import DayProblem
from server.allocator.schedule import frame_of
from server.wording import gettext as _
from server.wording import marked, ngettext

MOST_NAMED = 3
_COUNTS = [
    marked("no"),
    marked("one"),
    marked("two"),
    marked("three"),
    marked("four"),
    marked("five"),
    marked("six"),
    marked("seven"),
    marked("eight"),
    marked("nine"),
    marked("ten"),
    marked("eleven"),
    marked("twelve"),
]


@dataclass(frozen=True)
class _Clause:
    """names of pilots, if it is about some; what is said of them, in the form for so many."""

    names: tuple[str, ...]
    said: str

    def words(self, before: tuple[str, ...]) -> str:
        """before: whom the clause before it named."""
        if not self.names or (len(self.names) == 1 and self.names == before):
            return self.said
        if self.names == before:
            return _("they %(said)s", said=self.said)
        if len(self.names) > MOST_NAMED:
            return _("%(count)s pilots %(said)s", count=_counted(len(self.names)), said=self.said)
        return _("%(names)s %(said)s", names=names_words(self.names), said=self.said)


def sentence(problem: DayProblem, rules: Sequence[Rule]) -> str:
    """ "Otter and Rook can use only 5800 MHz, and they always fly in the same heat." """
    spoken: list[str] = []
    before: tuple[str, ...] = ()
    for clause in _clauses(problem, rules):
        spoken.append(clause.words(before))
        before = clause.names or before
    text = spoken[0]
    if len(spoken) > 1:
        text = _("%(first)s, and %(last)s", first=", ".join(spoken[:-1]), last=spoken[-1])
    return f"{text[0].upper()}{text[1:]}."


def _clauses(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    def of(kind: Kind) -> list[Rule]:
        return [rule for rule in rules if rule.kind == kind]

    yield from _alike(problem, of("tunes"), _own_channels)
    yield from _alike(problem, of("pin"), _pinned_channels)
    if bans := [str(rule.number) for rule in of("ban")]:
        said = ngettext(
            "%(channels)s MHz is out of use today",
            "%(channels)s MHz are out of use today",
            len(bans),
            channels=names_words(bans),
        )
        yield _Clause((), said)
    yield from _together(problem, of("together"))
    yield from _apart(problem, of("apart"))
    yield from _alike(problem, of("after"), _after)
    yield from _alike(problem, of("before"), _before)
    yield from _alike(problem, of("heat"), _heat)
    for rule in of("given"):
        names = _names(problem, rule.rows)
        said = ngettext(
            "flies in heat %(heat)s", "fly together in heat %(heat)s", len(names), heat=rule.number
        )
        yield _Clause(names, said)
    yield from _of_everybody(problem, rules)


def _of_everybody(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    kinds = {rule.kind for rule in rules}
    if "capacity" in kinds:
        most = problem.aircraft
        said = ngettext("one flies at a time", "at most %(count)s fly at once", most, count=_counted(most))
        yield _Clause((), said)
    if "heats" in kinds:
        yield _Clause((), _heats(problem, is_of_day=bool(kinds & {"after", "before"})))
    if "channel" in kinds:
        yield _Clause((), _("everybody keeps one channel all day"))
    if "spacing" in kinds and _is_about_distance(problem, rules):
        said = _("two pilots of a heat need %(mhz)s MHz between them", mhz=problem.minimum_spacing_mhz)
        yield _Clause((), said)


def _heats(problem: DayProblem, is_of_day: bool) -> str:
    heats, rounds = frame_of(problem).heats, rounds_of(problem)
    if problem.one_heat:
        return _("everybody flies in one heat")
    if is_of_day or rounds == 1:
        heats *= rounds
        return ngettext(
            "the day has %(count)s heat", "the day has %(count)s heats", heats, count=_counted(heats)
        )
    return ngettext("a round has %(count)s heat", "a round has %(count)s heats", heats, count=_counted(heats))


_ValueOf = Callable[[DayProblem, int], tuple[int, ...]]


def _alike(problem: DayProblem, rules: Sequence[Rule], value_of: _ValueOf) -> Iterator[_Clause]:
    """One clause for all of whom the same is said; one for all together if there would be more than two."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for rule in rules:
        groups.setdefault(value_of(problem, rule.rows[0]), []).append(rule.rows[0])
    if len(groups) > 2 and value_of is _own_channels:
        rows = sorted(row for members in groups.values() for row in members)
        groups = {tuple(sorted({mhz for value in groups for mhz in value})): rows}
    for value, rows in groups.items():
        yield _Clause(_names(problem, rows), _said(value_of, value, len(rows)))


def _said(value_of: _ValueOf, value: tuple[int, ...], pilots: int) -> str:
    """What holds for so many pilots with this value."""
    if not value:
        return ngettext("can use no channel of this day", "can use no channel of this day", pilots)
    if value_of is _own_channels:
        channels = channels_words(value)
        return ngettext("can use only %(channels)s", "can use only %(channels)s", pilots, channels=channels)
    if value_of is _pinned_channels:
        channels = channels_words(value)
        return ngettext("is pinned to %(channels)s", "are pinned to %(channels)s", pilots, channels=channels)
    one, several = _PRESENCE[value_of]
    return ngettext(one, several, pilots, heat=value[0])


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


_PRESENCE: Mapping[_ValueOf, tuple[str, str]] = {
    _after: (marked("is there only after heat %(heat)s"), marked("are there only after heat %(heat)s")),
    _before: (marked("is there only before heat %(heat)s"), marked("are there only before heat %(heat)s")),
    _heat: (marked("is set for heat %(heat)s"), marked("are set for heat %(heat)s")),
}


def _together(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    """Pairs that hang together are named at once."""
    groups: list[set[int]] = []
    for rule in rules:
        joined = set(rule.rows).union(*(group for group in groups if group & set(rule.rows)))
        groups = [*(group for group in groups if not group & joined), joined]
    for group in groups:
        yield _Clause(_names(problem, sorted(group)), _("always fly in the same heat"))


def _apart(problem: DayProblem, rules: Sequence[Rule]) -> Iterator[_Clause]:
    """All at once if no two of them may meet, else pair by pair."""
    rows = sorted({row for rule in rules for row in rule.rows})
    is_plain = not any(is_for_spotter(problem, rule) for rule in rules)
    if rules and is_plain and len(rules) == len(rows) * (len(rows) - 1) // 2:
        yield _Clause(_names(problem, rows), _("never share a heat"))
        return
    for rule in rules:
        yield _Clause((), rule.words)


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
    return _(_COUNTS[count]) if count < len(_COUNTS) else str(count)
