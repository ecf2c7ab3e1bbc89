"""The timeline of a day as a drawing: hours in lines from left to right, heats as boxes, what came between below.

A box is told by its form: filled was flown, open is ahead, the heavy one is up. What has no time is not drawn.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from server.services.day_timeline import BREAK, FLOWN, UP, DayTimeline, HeatTime, Period
from server.wording import gettext as _
from server.wording import marked, ngettext, time_of_day

HOUR = timedelta(hours=1)

HEAD, LANE, BELOW, HOURS, GAP = 18, 28, 18, 16, 8
"""Heights in a line: words above the heats, the heats, what came between, the hours, and room to the next line."""

CHARACTER, THINNEST = 7.6, 3.0
MOST_EMPTY_LINES = 2
"""Of more lines in a row where nothing is, none is drawn."""
MOST_LINES = 24
"""Of more lines only the first and the last are drawn: a heat that was left up over days would fill them all."""


@dataclass(frozen=True)
class Layout:
    """A drawing of one width: hours on a line, and where a line begins and ends."""

    width: int
    hours: int
    left: int
    right: int


_MARKS = {"now": marked("now"), "first heat": marked("first heat"), "over by": marked("over by")}

WIDE, NARROW = Layout(1000, 4, 56, 988), Layout(352, 1, 50, 342)


@dataclass(frozen=True)
class Box:
    """A heat or a period as far as it lies on one line.

    words        the number of the heat or the name of the period; empty where there is no room
    is_beside    whether the words stand right of it and not in it
    opens_round  whether the first heat of a round begins here
    """

    kind: str
    x: float
    width: float
    words: str
    is_beside: bool = False
    opens_round: bool = False


@dataclass(frozen=True)
class Mark:
    """A moment on a line: now, the first heat, or the end of the day."""

    kind: str
    x: float
    words: str
    anchor: str


@dataclass(frozen=True)
class Line:
    """Some hours; `heats_y` is the top of the heats, `below_y` of what came between."""

    y: float
    heats_y: float
    below_y: float
    hours_y: float
    label: str
    heats: tuple[Box, ...]
    periods: tuple[Box, ...]
    marks: tuple[Mark, ...]
    hours: tuple[tuple[float, str], ...]


@dataclass(frozen=True)
class TimelineChart:
    key: str
    layout: Layout
    height: float
    lines: tuple[Line, ...]
    words: str


@dataclass(frozen=True)
class _Span:
    begins: datetime
    ends: datetime


def timeline_charts(timeline: DayTimeline) -> tuple[TimelineChart, ...]:
    """For wide places and for phones; empty where nothing of the day has a time."""
    spans = [_Span(one.begins, one.ends) for one in timeline.heats if one.begins and one.ends]
    spans += [_Span(one.begins, one.ends) for one in timeline.periods]
    if not spans:
        return ()
    return tuple(_chart(timeline, spans, layout) for layout in (WIDE, NARROW))


def _chart(timeline: DayTimeline, spans: Sequence[_Span], layout: Layout) -> TimelineChart:
    has_periods = bool(timeline.periods)
    lines: list[Line] = []
    y = 0.0
    for begins in _beginnings(timeline, spans, layout):
        marks = _marks(timeline, begins, layout)
        heats_y = y + (HEAD if marks else 0)
        below_y = heats_y + LANE + 2
        hours_y = below_y + (BELOW if has_periods else 0)
        lines.append(
            Line(
                y=y,
                heats_y=heats_y,
                below_y=below_y,
                hours_y=hours_y,
                label=_hour(timeline, begins),
                heats=tuple(_heats(timeline.heats, begins, layout)),
                periods=tuple(_periods(timeline.periods, begins, layout)),
                marks=marks,
                hours=tuple(_hours(timeline, begins, layout)),
            )
        )
        y = hours_y + HOURS + GAP
    return TimelineChart(f"timeline-{layout.width}", layout, y, tuple(lines), timeline_words(timeline))


def _beginnings(timeline: DayTimeline, spans: Sequence[_Span], layout: Layout) -> list[datetime]:
    """When each line begins: full hours of the field, from the first that has anything to the last."""
    first = min(span.begins for span in spans).astimezone(ZoneInfo(timeline.time_zone))
    last = max(span.ends for span in spans)
    length = layout.hours * HOUR
    begins = first.replace(minute=0, second=0, microsecond=0)
    found: list[datetime] = []
    empty: list[datetime] = []
    while begins < last or not found:
        if any(span.begins < begins + length and span.ends > begins for span in spans) or not found:
            found += [*(empty if len(empty) <= MOST_EMPTY_LINES else []), begins]
            empty = []
        else:
            empty.append(begins)
        begins += length
    half = MOST_LINES // 2
    return found if len(found) <= MOST_LINES else found[:half] + found[-half:]


def _x(at: datetime, begins: datetime, layout: Layout) -> float:
    share = (at - begins) / (layout.hours * HOUR)
    return round(layout.left + share * (layout.right - layout.left), 1)


def _part(begins: datetime, ends: datetime, line: datetime, layout: Layout) -> tuple[float, float] | None:
    """x and width of a time as far as it lies on the line that begins at `line`."""
    line_ends = line + layout.hours * HOUR
    from_, to = max(begins, line), min(ends, line_ends)
    if from_ >= line_ends or to < line or (to == from_ and begins != ends):
        return None
    x = _x(from_, line, layout)
    return x, max(THINNEST, round(_x(to, line, layout) - x, 1))


def _heats(heats: Iterable[HeatTime], line: datetime, layout: Layout) -> Iterator[Box]:
    rounds: set[int | None] = {None}
    for one in heats:
        is_first = one.round not in rounds
        rounds.add(one.round)
        if one.begins is None or one.ends is None:
            continue
        if part := _part(one.begins, one.ends, line, layout):
            x, width = part
            words = one.number if _width(one.number) <= width else ""
            yield Box(one.state, x, width, words, opens_round=is_first and one.begins >= line)


def _periods(periods: Iterable[Period], line: datetime, layout: Layout) -> Iterator[Box]:
    """Words stand in their box, else beside it, as far as the next one begins."""
    found = [(one, _part(one.begins, one.ends, line, layout)) for one in periods]
    drawn = [(one, *part) for one, part in found if part]
    taken = 0.0
    for place, (one, x, width) in enumerate(drawn):
        words = period_words(one)
        free = min([layout.right, *(other_x for _, other_x, _ in drawn[place + 1 :])])
        is_beside = _width(words) > width
        left, end = (x + width, x + width + _width(words)) if is_beside else (x, x + width)
        fits = left >= taken and end <= free
        taken = max(taken, end if fits else x + width)
        yield Box(one.kind, x, width, words if fits else "", is_beside)


def _width(words: str) -> float:
    return len(words) * CHARACTER + 4


def _marks(timeline: DayTimeline, begins: datetime, layout: Layout) -> tuple[Mark, ...]:
    """Now, and the hours that the director set; words that would lie over those of now are left out."""
    moments = {"now": timeline.at, "first heat": timeline.starts_at, "over by": timeline.ends_by}
    found: list[Mark] = []
    for kind, at in moments.items():
        if (
            at is None
            or not begins <= at < begins + layout.hours * HOUR
            or (kind == "now" and not timeline.is_today)
        ):
            continue
        words = f"{_(_MARKS[kind])} {_hour(timeline, at)}"
        x = _x(at, begins, layout)
        width = len(words) * CHARACTER
        anchor = "start" if x + width <= layout.width else "end"
        left = x if anchor == "start" else x - width
        is_free = all(left > end or left + width < start for start, end in _reaches(found))
        found.append(Mark(kind, x, words if is_free else "", anchor))
    return tuple(found)


def _reaches(marks: Iterable[Mark]) -> Iterator[tuple[float, float]]:
    for mark in marks:
        width = len(mark.words) * CHARACTER
        yield (mark.x, mark.x + width) if mark.anchor == "start" else (mark.x - width, mark.x)


def _hours(timeline: DayTimeline, begins: datetime, layout: Layout) -> Iterator[tuple[float, str]]:
    """Marks of the scale: each hour with its name where there are several, else each quarter of it."""
    steps = layout.hours if layout.hours > 1 else 4
    step = layout.hours * HOUR / steps
    for number in range(steps + 1):
        at = begins + number * step
        yield _x(at, begins, layout), _hour(timeline, at)


def _hour(timeline: DayTimeline, at: datetime) -> str:
    return time_of_day(at.astimezone(ZoneInfo(timeline.time_zone)))


def period_words(period: Period) -> str:
    """ "open flying"; of a break how long nothing was called."""
    if period.kind == BREAK:
        minutes = round((period.ends - period.begins) / timedelta(minutes=1))
        return _("%(minutes)s min without a heat", minutes=minutes)
    return _(period.kind)


def timeline_words(timeline: DayTimeline) -> str:
    """The drawing for those who do not see it."""
    said = []
    flown = [one for one in timeline.past if one.state == FLOWN]
    if flown and flown[0].begins and flown[-1].ends:
        said.append(
            ngettext(
                "%(number)s heat flown, from %(begins)s to %(ends)s.",
                "%(number)s heats flown, from %(begins)s to %(ends)s.",
                len(flown),
                begins=_hour(timeline, flown[0].begins),
                ends=_hour(timeline, flown[-1].ends),
            )
        )
    if timeline.up and timeline.up.begins:
        since = _hour(timeline, timeline.up.begins)
        said.append(_("Heat %(heats)s is up since %(since)s.", heats=timeline.up.number, since=since))
    if timeline.ahead:
        heats = ", ".join(one.number for one in timeline.ahead)
        said.append(
            ngettext("Ahead: heat %(heats)s.", "Ahead: heats %(heats)s.", len(timeline.ahead), heats=heats)
        )
        ends = timeline.ahead[-1].ends
        if ends:
            said.append(_("The last is over at about %(ends)s.", ends=_hour(timeline, ends)))
        else:
            said.append(_("They have no times yet."))
    said += [
        _(
            "From %(begins)s to %(ends)s: %(what)s.",
            what=period_words(one),
            begins=_hour(timeline, one.begins),
            ends=_hour(timeline, one.ends),
        )
        for one in timeline.periods
    ]
    return " ".join(said)


@dataclass(frozen=True)
class TimeRow:
    """A heat or a period in words; `about` stands before times that are reckoned."""

    what: str
    round: int | None
    begins: str
    ends: str
    words: str


@dataclass(frozen=True)
class TimelinePicture:
    """A timeline with its drawings, which are none where nothing has a time, and all of it in words."""

    timeline: DayTimeline
    charts: tuple[TimelineChart, ...]
    rows: tuple[TimeRow, ...]


def timeline_picture(timeline: DayTimeline | None) -> TimelinePicture | None:
    if timeline is None:
        return None
    rows = [_heat_row(timeline, one) for one in timeline.heats]
    rows += [
        TimeRow(period_words(one), None, _hour(timeline, one.begins), _until(timeline, one), "")
        for one in timeline.periods
    ]
    return TimelinePicture(timeline, timeline_charts(timeline), tuple(rows))


def _heat_row(timeline: DayTimeline, heat: HeatTime) -> TimeRow:
    what = _("heat %(number)s", number=heat.number)
    if heat.begins is None or heat.ends is None:
        return TimeRow(what, heat.round, "", "", _(heat.state))
    begins, ends = _hour(timeline, heat.begins), _hour(timeline, heat.ends)
    if heat.is_expected:
        begins, ends = _("about %(hour)s", hour=begins), _("about %(hour)s", hour=ends)
    return TimeRow(what, heat.round, begins, "" if heat.state == UP else ends, _(heat.state))


def _until(timeline: DayTimeline, period: Period) -> str:
    return "" if period.is_on else _hour(timeline, period.ends)
