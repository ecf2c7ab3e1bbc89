"""Where things stand on the frequency axis of Site & rules: a row for each band, frequency left to right."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.radio.rules import FLAGGED_RANGES, RuleSet
from server.services.channel_rows import NOT_USED, ChannelRow

WIDTH, LEFT, RIGHT = 1160, 34, 12
TOP, ROW, BOTTOM = 50, 52, 26
_MARGIN_MHZ = 18
_TICK_MHZ = 50


@dataclass(frozen=True)
class Mark:
    """A channel: its mast at x, its foot as wide as the signal that the rules test."""

    label: str
    mhz: int
    state: str
    why: str
    x: float
    y: float
    foot_x: float
    foot_width: float


@dataclass(frozen=True)
class Span:
    """A range of the rules or of radars, as far as it lies on the axis."""

    x: float
    width: float
    low_mhz: float
    high_mhz: float
    max_eirp_mw: float | None = None


@dataclass(frozen=True)
class Axis:
    width: int
    height: int
    bands: tuple[tuple[str, float], ...]
    marks: tuple[Mark, ...]
    allowed: tuple[Span, ...]
    flagged: tuple[Span, ...]
    ticks: tuple[tuple[int, float], ...]


def channel_axis(rows: Sequence[ChannelRow], rule_set: RuleSet | None, width_mhz: float) -> Axis:
    """The bands in use today, with the ranges of the rules above them and those of radars behind."""
    shown = [row for row in rows if row.state != NOT_USED]
    used = {label[0] for row in shown for label in row.labels}
    low_mhz, high_mhz = shown[0].mhz - _MARGIN_MHZ, shown[-1].mhz + _MARGIN_MHZ
    scale = (WIDTH - LEFT - RIGHT) / (high_mhz - low_mhz)

    def x(mhz: float) -> float:
        return round(LEFT + (min(max(mhz, low_mhz), high_mhz) - low_mhz) * scale, 1)

    def span(low: float, high: float, limit_mw: float | None = None) -> Span:
        return Span(x(low), round(x(high) - x(low), 1), low, high, limit_mw)

    letters = [letter for letter in "ABEFRL" if letter in used]
    tops = {letter: TOP + ROW * place for place, letter in enumerate(letters)}
    foot_width = round(width_mhz * scale, 1)
    marks = tuple(
        Mark(
            label,
            row.mhz,
            row.state,
            row.why,
            x(row.mhz),
            tops[label[0]],
            round(x(row.mhz) - foot_width / 2, 1),
            foot_width,
        )
        for row in shown
        for label in row.labels
        if label[0] in tops
    )
    ranges = rule_set.ranges if rule_set else ()
    first_tick = -(-low_mhz // _TICK_MHZ) * _TICK_MHZ
    return Axis(
        width=WIDTH,
        height=TOP + ROW * len(letters) + BOTTOM,
        bands=tuple(tops.items()),
        marks=marks,
        allowed=_on_axis(span(one.low_mhz, one.high_mhz, one.max_eirp_mw) for one in ranges),
        flagged=_on_axis(span(low, high) for low, high in FLAGGED_RANGES),
        ticks=tuple((mhz, x(mhz)) for mhz in range(first_tick, high_mhz + 1, _TICK_MHZ)),
    )


def _on_axis(spans: Iterable[Span]) -> tuple[Span, ...]:
    return tuple(one for one in spans if one.width > 0)
