"""Trouble: a pilot says what is wrong with the picture; which cause is likeliest, by computation over the heat.

Every cause is a change of the air as it was called, and has a rate (how often it happens at all), an effect at the
receiver of the pilot who reports (margins with it), and a chance of being told in the words that were
used (`trouble_signs.py`) while the others in the air say nothing, or report too. Rate times chances, over all
causes, is how likely each is; the outcomes of tests that were done (`trouble_tests.py`) are further chances.
Somebody on in the pits is one cause, since one call to the pits tests them all, and so are the products of a heat,
since one overloaded receiver hears them all.

    carrier        somebody of the heat is louder than planned, or as planned and too near
    product        a product of the heat, in a receiver that is easier to overload than assumed
    wrong channel  somebody of the heat is on another channel that its gear tunes and that looks right on the bench
    pits           somebody who does not fly is on, on the last channel or on any other it tunes
    down           a transmitter that is down and still on
    own channel    the own transmitter is on a neighbour channel
    link           the own signal is too weak
    outside        something else on the air, noted or not
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from server.allocator.trouble_air import Air
from server.allocator.trouble_effects import Suspicion, suspicions
from server.allocator.trouble_receiver import TroubledReceiver
from server.allocator.trouble_signs import noticed, points_at, seen_as, sets_in, told_too
from server.allocator.trouble_tests import SafeTest, outcome_chances, safe_tests

LEAST_CHANCE = 0.005
"""A cause that is less likely is not listed."""

LEAST_WEIGHT = 1e-4
"""A form of a cause that is less likely before any test is forgotten."""

SOMETHING_ELSE = 0.002
"""Rate of whatever is not in the list, seen in any of the five ways; no test tells anything of it."""


@dataclass(frozen=True)
class Report:
    """What a pilot sees: one of SYMPTOMS; who is near when it happens; one of ONSETS, where they say.

    also  callsigns of others in the air who report trouble of their own
    """

    callsign: str
    symptom: str
    near: str | None = None
    onset: str | None = None
    also: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Cause:
    """One cause, with how likely it is.

    kind       as listed above
    who        callsigns: whose carrier, the makers of the likeliest product, who is on in the pits with the
               likeliest first
    mhz        the channel it would be on; of pits that of the first; None where there is none
    margin_db  the reporter's margin if it were so
    chance     0 to 1
    """

    kind: str
    who: tuple[str, ...]
    mhz: int | None
    margin_db: float
    chance: float


@dataclass(frozen=True)
class Form:
    """One form of a cause: its weight by the report, and how likely each outcome of each test of the case is."""

    kind: str
    who: tuple[str, ...]
    mhz: int | None
    margin_db: float
    weight: float
    chances: tuple[tuple[float, ...], ...]

    @property
    def cause(self) -> tuple[object, ...]:
        """Equal for forms that are one cause to people: all channels of one pilot, everybody in the pits."""
        if self.kind in ("pits", "product"):
            return (self.kind,)
        if self.kind == "outside":
            return ("outside", self.mhz)
        return (self.kind, *self.who)


@dataclass(frozen=True)
class Case:
    """One report with all that its causes and tests say, so that outcomes can be weighed without the air.

    forms           their weights and `something_else` together are 1
    something_else  weight of whatever is not in the list
    """

    forms: tuple[Form, ...]
    tests: tuple[SafeTest, ...]
    something_else: float


def case_of(air: Air, report: Report) -> Case:
    """Every cause and every test that comes into question. Raises ValueError if the pilot does not fly."""
    heard = TroubledReceiver(air, air.place(report.callsign))
    names = [one.seat.pilot.callsign for one in air.fliers]
    weighed = [(one, _weight(one, report, names)) for one in suspicions(heard)]
    else_weight = SOMETHING_ELSE / 5.0
    total = sum(weight for _, weight in weighed) + else_weight
    tests = safe_tests(heard)
    forms = tuple(
        Form(
            one.kind,
            one.who,
            one.mhz,
            one.effect.margin_db,
            weight / total,
            outcome_chances(heard, one, tests),
        )
        for one, weight in weighed
        if weight / total >= LEAST_WEIGHT
    )
    return Case(forms, tests, else_weight / total)


def weights(case: Case, outcomes: Mapping[str, str]) -> tuple[list[float], float]:
    """How likely each form of the case is after these outcomes, and something else; together 1.

    outcomes  by `SafeTest.key`, of `SafeTest.outcomes`; any other, as NOT_TOLD, changes nothing
    """
    told = [
        (number, test.outcomes.index(outcomes[test.key]))
        for number, test in enumerate(case.tests)
        if outcomes.get(test.key) in test.outcomes
    ]
    found = [
        math.prod((form.weight, *(form.chances[number][outcome] for number, outcome in told)))
        for form in case.forms
    ]
    evens = (1.0 / len(case.tests[number].outcomes) for number, _ in told)
    something_else = math.prod((case.something_else, *evens))
    total = sum(found) + something_else
    return [weight / total for weight in found], something_else / total


def ranked(case: Case, outcomes: Mapping[str, str]) -> tuple[Cause, ...]:
    """The causes after these outcomes, as `weights` takes them, the likeliest first."""
    chances, _ = weights(case, outcomes)
    grouped: defaultdict[tuple[object, ...], list[tuple[Form, float]]] = defaultdict(list)
    for form, chance in zip(case.forms, chances, strict=True):
        grouped[form.cause].append((form, chance))
    causes = [_cause(members) for members in grouped.values()]
    listed = [cause for cause in causes if cause.chance >= LEAST_CHANCE]
    return tuple(sorted(listed, key=lambda cause: (-cause.chance, cause.kind, cause.who)))


def rank(air: Air, report: Report) -> tuple[Cause, ...]:
    """Every cause by the report alone, the likeliest first. Raises ValueError if the pilot does not fly."""
    return ranked(case_of(air, report), {})


def _weight(one: Suspicion, report: Report, names: Sequence[str]) -> float:
    """Rate times chances. What is noticed is put down to a cause by its part of the whole interference."""
    seen, is_own = one.effect, report.callsign in one.who
    weight = (
        one.rate
        * noticed(seen.margin_db)
        * min(1.0, 10.0 ** ((seen.margin_db - seen.alone_db) / 10.0))
        * seen_as(report.symptom, seen)
        * sets_in(report.onset, one.kind)
        * points_at(report.near, one.who, seen.moves and not is_own, len(names) - 1)
    )
    for name, margin_db in zip(names, one.everybody_db, strict=True):
        if name != report.callsign:
            weight *= told_too(name in report.also, margin_db)
    return weight


def _cause(members: Sequence[tuple[Form, float]]) -> Cause:
    best = max(members, key=lambda member: member[1])[0]
    cause = Cause(best.kind, best.who, best.mhz, best.margin_db, sum(chance for _, chance in members))
    if best.kind != "pits":
        return cause
    return replace(cause, who=_likeliest_first(members))


def _likeliest_first(members: Sequence[tuple[Form, float]]) -> tuple[str, ...]:
    chance: defaultdict[str, float] = defaultdict(float)
    for one, share in members:
        chance[one.who[0]] += share
    return tuple(sorted(chance, key=lambda name: (-chance[name], name)))
