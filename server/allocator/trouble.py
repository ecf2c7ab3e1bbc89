"""Trouble: a pilot says what is wrong with the picture; which cause is likeliest, by computation over the heat.

Every cause is a change of the air as it was called, and has a rate (how often it happens at all), an effect at the
receiver of the pilot who reports (margins with it), and a chance of being told in the words that were
used (`trouble_signs.py`) while the others in the air say nothing, or report too. Rate times chances, over all
causes, is how likely each is. Somebody on in the pits is one cause, since one call to the pits tests them all, and
so are the products of a heat, since one overloaded receiver hears them all.

    carrier        somebody of the heat is louder than planned, or as planned and too near
    product        a product of the heat, in a receiver that is easier to overload than assumed
    wrong channel  somebody of the heat is on another channel that its gear tunes and that looks right on the bench
    pits           somebody who does not fly is on, on the last channel or on any other it tunes
    down           a transmitter that is down and still on
    own channel    the own transmitter is on a neighbour channel
    link           the own signal is too weak
    outside        something else on the air, noted or not
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from server.allocator.trouble_air import Air
from server.allocator.trouble_effects import Suspicion, suspicions
from server.allocator.trouble_signs import noticed, points_at, seen_as, sets_in, told_too

LEAST_CHANCE = 0.005
"""A cause that is less likely is not listed."""

SOMETHING_ELSE = 0.002
"""Rate of whatever is not in the list, seen in any of the five ways."""


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

    kind       as listed above, or "other"
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


def rank(air: Air, report: Report) -> tuple[Cause, ...]:
    """Every cause that comes into question, the likeliest first. Raises ValueError if the pilot does not fly."""
    place = air.place(report.callsign)
    names = [one.seat.pilot.callsign for one in air.fliers]
    weighed = [(one, _weight(one, report, names)) for one in suspicions(air, place)]
    total = sum(weight for _, weight in weighed) + SOMETHING_ELSE / 5.0
    grouped: defaultdict[tuple[object, ...], list[tuple[Suspicion, float]]] = defaultdict(list)
    for one, weight in weighed:
        grouped[_key(one)].append((one, weight / total))
    causes = [_cause(members) for members in grouped.values()]
    listed = [cause for cause in causes if cause.chance >= LEAST_CHANCE]
    return tuple(sorted(listed, key=lambda cause: (-cause.chance, cause.kind, cause.who)))


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


def _key(one: Suspicion) -> tuple[object, ...]:
    """Suspicions that are one cause to people: all channels of one pilot, everybody in the pits."""
    if one.kind in ("pits", "product"):
        return (one.kind,)
    if one.kind == "outside":
        return ("outside", one.mhz)
    return (one.kind, *one.who)


def _cause(members: Sequence[tuple[Suspicion, float]]) -> Cause:
    best = max(members, key=lambda member: member[1])[0]
    cause = Cause(
        best.kind, best.who, best.mhz, best.effect.margin_db, float(sum(chance for _, chance in members))
    )
    if best.kind != "pits":
        return cause
    return replace(cause, who=_likeliest_first(members))


def _likeliest_first(members: Iterable[tuple[Suspicion, float]]) -> tuple[str, ...]:
    chance: defaultdict[str, float] = defaultdict(float)
    for one, share in members:
        chance[one.who[0]] += share
    return tuple(sorted(chance, key=lambda name: (-chance[name], name)))
