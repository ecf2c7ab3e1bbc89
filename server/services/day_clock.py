"""How the day keeps its hours: how far it runs behind, and how many heats and rounds still fit before its end."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

BETWEEN_FLIGHTS = timedelta(minutes=3)
"""Taken for powering up and landing until a cycle was measured; common practice, no source."""

LEAST_MEASURED = 2
"""Cycles that say more than the assumption."""

BREAK_IS = 3
"""A gap so many times as long as the usual one was a break, and no cycle."""


@dataclass(frozen=True)
class DayClock:
    """The hours of a day at one moment.

    at          that moment
    cycle       from one call to the next; `measured` over so many, 0: assumed
    behind      against the hours of the day, negative: ahead; None without a start
    heats_left  not flown yet
    fit         heats that still fit before `ends_at`; None without an end
    a_round     heats of a round
    """

    at: datetime
    cycle: timedelta
    measured: int
    behind: timedelta | None
    heats_left: int
    fit: int | None
    a_round: int
    ends_at: datetime | None

    @property
    def rounds_fit(self) -> tuple[int, int] | None:
        """Whole rounds, and heats beyond them, that still fit."""
        if self.fit is None:
            return None
        return divmod(self.fit, self.a_round) if self.a_round else (0, self.fit)

    @property
    def cycle_minutes(self) -> int:
        return round(self.cycle / timedelta(minutes=1))

    @property
    def behind_minutes(self) -> int | None:
        return None if self.behind is None else round(self.behind / timedelta(minutes=1))


def hour_of(day: date, hour: str, time_zone: str) -> datetime | None:
    """ "09:30" on that day by its own clocks; None for an empty hour."""
    if not hour:
        return None
    return datetime.combine(day, time.fromisoformat(hour), ZoneInfo(time_zone))


def clock_of(
    at: datetime,
    called_at: Sequence[datetime],
    heat_minutes: int,
    heats: int,
    flown: int,
    a_round: int,
    starts_at: datetime | None,
    ends_at: datetime | None,
    up_since: datetime | None = None,
) -> DayClock:
    """The clock of a day.

    called_at     when each heat that was released was called, in that order
    heats, flown  of the plan
    up_since      when the heat that is up now was called; None while none is
    """
    assumed = timedelta(minutes=heat_minutes) + BETWEEN_FLIGHTS
    cycle, measured = _cycle(called_at, assumed)
    planned = assumed
    if starts_at is not None and ends_at is not None and heats:
        planned = (ends_at - starts_at) / heats
    behind = None
    if starts_at is not None:
        behind = (up_since or at) - (starts_at + flown * planned)
        if up_since is None and flown >= heats:
            behind = None
    fit = None
    if ends_at is not None:
        begins = up_since + cycle if up_since is not None else at
        fit = max(0, (ends_at - max(begins, at)) // cycle)
    return DayClock(at, cycle, measured, behind, max(0, heats - flown), fit, a_round, ends_at)


def _cycle(called_at: Sequence[datetime], assumed: timedelta) -> tuple[timedelta, int]:
    gaps = [(later - earlier).total_seconds() for earlier, later in pairwise(called_at)]
    gaps = [gap for gap in gaps if gap > 0]  # a clock that was set back measures nothing
    if len(gaps) < LEAST_MEASURED:
        return assumed, 0
    usual = median(gaps)
    gaps = [gap for gap in gaps if gap < BREAK_IS * usual]
    return timedelta(seconds=median(gaps)), len(gaps)
