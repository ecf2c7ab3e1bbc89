"""What is known of a day's hours: heats that were called, the one that is up, those ahead, and what came between.

Times of the past are those of calls and of the logbook. Heats ahead have times only where the day says how long
one takes: measured from call to call, or by the hour that the director set for the first. Nothing else has one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from server.services.day_clock import BREAK_IS, DayClock
from server.storage.tables import OVER, Call, LogbookEntry

FLOWN, NOT_COUNTED, UP, NEXT, AHEAD = "flown", "does not count", "up", "next", "ahead"

OPEN_FLYING, EVERYBODY_LAND, WALKERS, BREAK = "open flying", "EVERYBODY LAND", "walkers", "break"
PERIODS = {
    "open flying opened": (OPEN_FLYING, True),
    "open flying closed": (OPEN_FLYING, False),
    "everybody land": (EVERYBODY_LAND, True),
    "everybody land lifted": (EVERYBODY_LAND, False),
    "walkers on the field": (WALKERS, True),
    "field clear": (WALKERS, False),
}
"""By action of the logbook: what it begins or ends."""


@dataclass(frozen=True)
class HeatTime:
    """A calling of a heat, or a heat ahead.

    heats          its number in the plan; several where they were called together
    round          of the first of them; None where no published plan has it any more
    begins, ends   None where nobody knows; of a heat that is up `ends` is now
    is_expected    whether the times are reckoned
    """

    heats: tuple[int, ...]
    round: int | None
    state: str
    begins: datetime | None = None
    ends: datetime | None = None
    is_expected: bool = False

    @property
    def number(self) -> str:
        """ "4", or "4 5" for two together."""
        return " ".join(str(heat) for heat in self.heats)


@dataclass(frozen=True)
class Period:
    """Something beside heats that took a while; until now where it still lasts."""

    kind: str
    begins: datetime
    ends: datetime
    is_on: bool


@dataclass(frozen=True)
class DayTimeline:
    """The hours of a day at one moment.

    heats    in the order of flying, those ahead last
    periods  by their beginning
    clock    None before a plan
    """

    at: datetime
    time_zone: str
    heats: tuple[HeatTime, ...]
    periods: tuple[Period, ...]
    starts_at: datetime | None
    ends_by: datetime | None
    clock: DayClock | None
    is_archived: bool

    @property
    def is_today(self) -> bool:
        """Whether the moment belongs to the day: while heats are ahead with times, or something goes on."""
        if self.is_archived:
            return False
        return self.is_expected or self.up is not None or any(one.is_on for one in self.periods)

    @property
    def past(self) -> tuple[HeatTime, ...]:
        return tuple(one for one in self.heats if one.state in (FLOWN, NOT_COUNTED))

    @property
    def up(self) -> HeatTime | None:
        return next((one for one in self.heats if one.state == UP), None)

    @property
    def ahead(self) -> tuple[HeatTime, ...]:
        return tuple(one for one in self.heats if one.state in (NEXT, AHEAD))

    @property
    def is_expected(self) -> bool:
        """Whether heats ahead have times."""
        return any(one.is_expected for one in self.heats)


def called(calls: Iterable[Call], rounds: Mapping[int, int], at: datetime) -> tuple[HeatTime, ...]:
    """Every calling of a heat in its order.

    rounds  by the number of a heat in the plan that is published now
    """
    return tuple(
        HeatTime(
            heats=tuple(call.heats),
            round=rounds.get(call.heats[0]),
            state=UP if call.stage != OVER else FLOWN if call.counts and call.released_at else NOT_COUNTED,
            begins=call.called_at,
            ends=max(call.called_at, call.ended_at or at),
        )
        for call in calls
    )


def ahead(
    numbers: Sequence[int],
    rounds: Mapping[int, int],
    next_number: int | None,
    clock: DayClock | None,
    begins: datetime | None,
) -> tuple[HeatTime, ...]:
    """The heats ahead, one cycle after another from `begins`; without times where that is None."""
    found = []
    for place, number in enumerate(numbers):
        state = NEXT if number == next_number else AHEAD
        if clock is None or begins is None:
            found.append(HeatTime((number,), rounds[number], state))
        else:
            first = begins + place * clock.cycle
            found.append(HeatTime((number,), rounds[number], state, first, first + clock.cycle, True))
    return tuple(found)


def next_begins(clock: DayClock, starts_at: datetime | None, up_since: datetime | None) -> datetime | None:
    """When the next heat can be called by what the day says; None where it says nothing.

    up_since  when the heat that is up now was called
    """
    if not clock.measured and starts_at is None:
        return None
    if up_since is not None:
        return max(clock.at, up_since + clock.cycle)
    return max(clock.at, starts_at) if starts_at is not None else clock.at


def periods(entries: Iterable[LogbookEntry], at: datetime) -> tuple[Period, ...]:
    """What rows of the logbook began and ended, in the order of the beginnings; rows in their own order."""
    begun: dict[str, datetime] = {}
    found = []
    for entry in entries:
        kind, begins = PERIODS[entry.action]
        if begins:
            begun.setdefault(kind, entry.at)
        elif kind in begun:
            found.append(Period(kind, begun.pop(kind), entry.at, is_on=False))
    found += [Period(kind, since, max(since, at), is_on=True) for kind, since in begun.items()]
    return tuple(sorted(found, key=lambda one: one.begins))


def breaks(heats: Sequence[HeatTime], beside: Sequence[Period], clock: DayClock) -> tuple[Period, ...]:
    """Gaps between heats, so long that the clock counts them as breaks; none where pilots flew without heats."""
    if not clock.measured:
        return ()
    open_flying = [one for one in beside if one.kind == OPEN_FLYING]
    return tuple(
        Period(BREAK, earlier.ends, later.begins, is_on=False)
        for earlier, later in pairwise(heats)
        if earlier.begins and earlier.ends and later.begins
        if later.begins - earlier.begins >= BREAK_IS * clock.cycle and earlier.ends < later.begins
        if not any(one.begins < later.begins and one.ends > earlier.ends for one in open_flying)
    )
