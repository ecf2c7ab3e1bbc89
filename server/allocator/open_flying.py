"""Open flying: no heats; who asks gets a channel beside everybody who is up, or waits.

Whoever is up keeps channel and power, so a heat has a single free pilot, and every channel can be looked at. The
queue is first come, first served, with two exceptions that keep places from standing empty:

* a pilot for whose gear there is no good channel beside those who are up lets one later pilot pass, and then
  nobody more until it has a place itself: it is passed over `MOST_PASSED_OVER` times at most;
* a pilot who must not fly beside somebody who is up (a spotter, a shared aircraft) lets others pass until that one
  has landed, and this does not count.

Nobody passes who must not fly beside a pilot ahead: that would make the wait of that pilot longer.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.power import SAME_LEVEL_DB, power_level
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, finite_or_none, margins_db
from server.radio.grade import is_flyable

MOST_PASSED_OVER = 1
"""How many later pilots may get a place before a pilot who waits."""


@dataclass(frozen=True)
class Up:
    """A pilot with a place: channel and power stand.

    is_down   lies somewhere out of reach with its transmitter on: nobody knows when the place gets free
    """

    pilot: Pilot
    mhz: int
    power_mw: float
    is_down: bool = False


@dataclass(frozen=True)
class Waiting:
    """A pilot in the queue, and how many later ones got a place meanwhile."""

    pilot: Pilot
    passed_over: int = 0


@dataclass(frozen=True)
class Place:
    """What a pilot is offered; the worst margin of all who are up then, None for a pilot alone."""

    mhz: int
    power_mw: float
    worst_margin_db: float | None


class Why(StrEnum):
    """Why a pilot waits."""

    NO_CHANNEL = "no channel of the gear is in use today"
    FULL = "as many are up as may be"
    APART = "somebody is up who must not fly beside this pilot"
    NO_SPACE = "every channel of the gear is too close to somebody's"
    PICTURE = "somebody's picture would be too bad to fly with"
    TURN = "somebody ahead was passed over already"
    COMPANY = "somebody ahead must not fly beside this pilot"


@dataclass(frozen=True)
class Wait:
    """No place now. `callsigns`: who stands in the way, or whose picture would be too bad."""

    why: Why
    callsigns: tuple[str, ...] = ()


@dataclass(frozen=True)
class Served:
    """What the queue's turn brings to one pilot who waits, and how often that pilot is passed over by then."""

    answer: Place | Wait
    passed_over: int


def offer(newcomer: Pilot, up: Sequence[Up], problem: DayProblem) -> Place | Wait:
    """The channel, out of those the newcomer can use, that leaves everybody who is up best, by the six stages.

    The power is the newcomer's own step that does best among those that carry to the far end of the course, the
    lowest of equals; a common level or a power set by the director stands. Exact and the same every time.
    """
    if not problem.choices_mhz(newcomer):
        return Wait(Why.NO_CHANNEL)
    if len(up) >= problem.aircraft:
        return Wait(Why.FULL)
    company = tuple(one.pilot.callsign for one in up if _are_apart(newcomer, one.pilot))
    if company:
        return Wait(Why.APART, company)
    found = [_best_at(power_mw, newcomer, up, problem) for power_mw in _powers_mw(newcomer, problem)]
    places = [place for place in found if place is not None]
    if not places:
        return Wait(Why.NO_SPACE)
    best = places[0]
    for place in places[1:]:
        if _or_infinite(place.worst_margin_db) > _or_infinite(best.worst_margin_db) + SAME_LEVEL_DB:
            best = place
    if is_flyable(best.worst_margin_db):
        return best
    everybody = [*up, Up(newcomer, best.mhz, best.power_mw)]
    too_bad = [
        one.pilot.callsign
        for one, margin in zip(everybody, margins(everybody, problem), strict=True)
        if not is_flyable(margin)
    ]
    return Wait(Why.PICTURE, tuple(too_bad))


def serve(waiting: Sequence[Waiting], up: Sequence[Up], problem: DayProblem) -> tuple[Served, ...]:
    """Go through the queue once, first come first served, and give places while there are any.

    Who has no channel today, or none beside those that are down and still on, stays in the queue and holds up
    nobody.
    """
    aloft = list(up)
    answers: list[Place | Wait] = []
    passed_over = [one.passed_over for one in waiting]
    ahead: list[Waiting] = []
    counted: list[int] = []
    for number, one in enumerate(waiting):
        answer: Place | Wait | None = None
        if len(aloft) < problem.aircraft:
            first = [waiting[other].pilot for other in counted if passed_over[other] >= MOST_PASSED_OVER]
            answer = _held_back(one.pilot, first, [other.pilot for other in ahead])
        if answer is None:
            answer = offer(one.pilot, aloft, problem)
        answers.append(answer)
        if isinstance(answer, Place):
            aloft.append(Up(one.pilot, answer.mhz, answer.power_mw))
            for other in counted:
                passed_over[other] += 1
        elif _can_come_up(one.pilot, up, problem):
            ahead.append(one)
            if answer.why not in (Why.APART, Why.COMPANY):
                counted.append(number)
    return tuple(Served(*pair) for pair in zip(answers, passed_over, strict=True))


def margins(up: Sequence[Up], problem: DayProblem) -> list[float | None]:
    """The margin in dB of everybody who is up; None for a pilot alone."""
    if not up:
        return []
    found, _ = margins_db(gear_of(up, problem), range(len(up)), [one.mhz for one in up])
    return [finite_or_none(margin) for margin in found]


def do_fit(up: Sequence[Up], problem: DayProblem) -> bool:
    """Whether these may all be up together: not too many, channels far enough apart, pictures good enough."""
    mhz = sorted(one.mhz for one in up)
    return (
        len(up) <= problem.aircraft
        and all(above - below >= problem.minimum_spacing_mhz for below, above in itertools.pairwise(mhz))
        and all(is_flyable(margin) for margin in margins(up, problem))
    )


def _best_at(power_mw: float, newcomer: Pilot, up: Sequence[Up], problem: DayProblem) -> Place | None:
    """The six stages of one heat with one free pilot, by looking at every channel: fewer than fifty."""
    held = [one.mhz for one in up]
    free = [
        mhz
        for mhz in problem.choices_mhz(newcomer)
        if all(abs(mhz - other) >= problem.minimum_spacing_mhz for other in held)
    ]
    if not free:
        return None
    gear = gear_of([*up, Up(newcomer, free[0], power_mw)], problem)
    found = {mhz: margins_db(gear, range(len(held) + 1), [*held, mhz]) for mhz in free}
    good = _within([(mhz, float(found[mhz][0].min())) for mhz in free], problem.site.indifference_db)
    good = _within([(mhz, float(found[mhz][1].min())) for mhz in good], problem.site.indifference_db)
    best = min(good, key=lambda mhz: _preference(mhz, newcomer, held, found[mhz][0], problem))
    return Place(best, power_mw, finite_or_none(found[best][0].min()))


def _within(worst_db: Sequence[tuple[int, float]], indifference_db: float) -> list[int]:
    """The channels whose worst margin is as good as the best one's."""
    best = max(worst for _, worst in worst_db)
    return [mhz for mhz, worst in worst_db if worst >= best - indifference_db - 1e-9]


def _preference(
    mhz: int, newcomer: Pilot, held: Sequence[int], margin_db: np.ndarray, problem: DayProblem
) -> tuple[bool, bool, int, tuple[float, ...], int]:
    """Stages 3 to 6 as a key, the best channel first."""
    is_change = newcomer.current_mhz is not None and mhz != newcomer.current_mhz
    is_outside = isinstance(problem.day_channels, tuple) and mhz not in problem.day_channels
    everybody = sorted([*held, mhz])
    spacing_mhz = min((above - below for below, above in itertools.pairwise(everybody)), default=0)
    from_the_worst = tuple(-float(margin) for margin in np.sort(np.round(margin_db, 1)))
    return is_change, is_outside, -spacing_mhz, from_the_worst, mhz


def _powers_mw(pilot: Pilot, problem: DayProblem) -> tuple[float, ...]:
    if pilot.power_mw is not None:
        return (pilot.power_mw,)
    if problem.common_power_mw != "auto":
        return (pilot.power_at(problem.common_power_mw),)
    alone = problem.with_pilots((pilot,))
    steps = sorted(pilot.power_steps_mw)
    return tuple(step for step in steps if power_level(alone, step).is_enough) or (steps[-1],)


def _held_back(pilot: Pilot, first: Sequence[Pilot], ahead: Sequence[Pilot]) -> Wait | None:
    """Why a pilot must not pass those ahead; None where it may. `first`: those that nobody passes any more."""
    if first:
        return Wait(Why.TURN, (first[0].callsign,))
    company = tuple(other.callsign for other in ahead if _are_apart(pilot, other))
    return Wait(Why.COMPANY, company) if company else None


def _can_come_up(pilot: Pilot, up: Sequence[Up], problem: DayProblem) -> bool:
    """Whether the pilot gets a place once everybody has landed who can."""
    down = [one for one in up if one.is_down]
    if not down:
        return bool(problem.choices_mhz(pilot))
    return isinstance(offer(pilot, down, problem), Place)


def gear_of(up: Sequence[Up], problem: DayProblem) -> Gear:
    """What the sums need of these, each on its channel, whatever is out of use today.

    A pilot may be among them twice: with what is down, and with a spare.
    """
    held = tuple(replace(_held(one), callsign=str(place)) for place, one in enumerate(up))
    day = replace(problem.with_pilots(held), bans_mhz=())
    return day_gear(day, [one.power_mw for one in up])


def _held(one: Up) -> Pilot:
    return replace(one.pilot, channels_mhz=(one.mhz,), pin_mhz=(), current_mhz=None)


def _are_apart(one: Pilot, other: Pilot) -> bool:
    return other.callsign in one.apart | {one.spotter} or one.callsign in other.apart | {other.spotter}


def _or_infinite(margin_db: float | None) -> float:
    return np.inf if margin_db is None else margin_db
