"""The places of a typical heat: which channels a day should use, given who can tune what.

A heat has q places, and every place is taken by another pilot in each of the H heats of a round. So the pilots
are packed into q places of at most H, those who can tune least first, and a place can only have a channel that
everybody in it can tune. The best channels for the q places then serve every heat of the day.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from server.allocator.heat import KeepGoing, best_worst_margin
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear

PLACES_NODES = 400_000


@dataclass
class Place:
    """choices: channels that everybody of the place can tune; pilots: by index."""

    choices: frozenset[int]
    pilots: list[int] = field(default_factory=list)


def places_of_day(choices: Sequence[frozenset[int]], count: int, heats: int) -> list[Place]:
    """At most ``count`` places of at most ``heats`` pilots each; who fits in none is left out.

    choices   channels of each pilot

    A pilot joins a place that need not give up a channel for it, else opens one, else narrows the place
    that keeps the most channels.
    """
    places: list[Place] = []
    for pilot in sorted(range(len(choices)), key=lambda one: (len(choices[one]), sorted(choices[one]), one)):
        own = choices[pilot]
        open_places = [place for place in places if len(place.pilots) < heats and place.choices & own]
        fitting = [place for place in open_places if place.choices <= own]
        if fitting:
            place = min(fitting, key=lambda one: len(one.choices))
        elif len(places) < count:
            place = Place(own)
            places.append(place)
        elif open_places:
            place = max(open_places, key=lambda one: len(one.choices & own))
        else:
            continue
        place.choices &= own
        place.pilots.append(pilot)
    return places


def channels_of_places(
    problem: DayProblem, places: Sequence[Place], powers_mw: Sequence[float], keep_going: KeepGoing
) -> tuple[int, ...]:
    """The best channels in MHz for one heat with a pilot of each place, equal gear of the least power; or none."""
    crowd = tuple(Pilot(str(number), tuple(sorted(place.choices))) for number, place in enumerate(places))
    gear = day_gear(problem.with_pilots(crowd), [min(powers_mw)] * len(crowd))
    return best_worst_margin(gear, PLACES_NODES, problem.seed, keep_going).mhz
