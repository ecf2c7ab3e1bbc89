"""The distances of a site as a drawing, with the levels that follow from them, in the units of an SVG.

Distance runs from left to right on a logarithmic scale, on which free space is a straight line: 6 dB for each
doubling. The plot has the same place for every site, so that nothing jumps while somebody types.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.radio.interference import Station, unwanted_level_dbm, wanted_level_dbm
from server.radio.receiver import FM_THRESHOLD_DB, compression_level_dbm, noise_level_dbm
from server.radio.site import Site
from server.wording import decimal, marked, short_decimal
from server.wording import gettext as _

WIDTH, LEFT, RIGHT = 352, 38, 284
"""Of the drawing, and where its plot begins and ends; right of it stands the step from near to far."""

FIRST_X = 82
"""Where the scale of distance begins: the pilots stand left of it, since a logarithm has no place for 0 m."""

TOP, BOTTOM, GROUND, NAMES, HEIGHT = 20, 178, 214, 248, 270
"""Heights: of the plot's two edges, the ground, the first row of names, and the whole."""

ROOM, ROOM_DB = 1.25, 4.0
"""What is shown beyond the outermost distances, as a factor, and beyond the outermost levels."""

CHARACTER, LINE = 7.4, 15
"""Room for a letter and for a line of them."""

FINE_DECADE = 150
"""A decade of distance at least so wide is marked at 1, 2 and 5, a narrower one at 1 alone."""

STEP_DBM = 20

_NAMES = {"near": marked("near"), "pits": marked("pits"), "far": marked("far")}
_ARRIVES = {
    "near": marked("another aircraft %(metres)s m away arrives with %(level)s"),
    "pits": marked("a transmitter in the pits %(metres)s m away arrives with %(level)s"),
    "far": marked("one's own aircraft %(metres)s m away arrives with %(level)s"),
}


@dataclass(frozen=True)
class Point:
    """One distance and the level that arrives from it.

    kind      near, pits or far
    level_x   the left end of the level in words; the right end where it stands left of the point (`is_left`)
    name_x    the middle of the name below the ground
    """

    kind: str
    metres: float
    dbm: float
    x: float
    y: float
    level: str
    level_x: float
    level_y: float
    is_left: bool
    name: str
    name_x: float
    name_y: float


@dataclass(frozen=True)
class Limit:
    """A level that decides, in dBm and in words."""

    dbm: float
    y: float
    words: str


@dataclass(frozen=True)
class SiteSketch:
    """The drawing of a site with everybody on one power.

    slope   what free space leaves over the distance: x and y of its two ends
    points  near, pits and far from the nearest
    limits  from where a receiver is overloaded, and the least that a picture needs
    step    how much stronger others arrive from near than the own aircraft from far, in words
    metres  marks of the scale of distance, with their x; `dbm` those of the levels, with their y
    """

    power_mw: float
    slope: tuple[float, float, float, float]
    points: tuple[Point, ...]
    limits: tuple[Limit, Limit]
    step: str
    metres: tuple[tuple[str, float], ...]
    dbm: tuple[tuple[str, float], ...]
    words: str
    height: float
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT
    ground: int = GROUND

    def point(self, kind: str) -> Point:
        """Near, pits or far."""
        return next(point for point in self.points if point.kind == kind)


class _Scale:
    """Where distances in m and levels in dBm stand."""

    def __init__(self, metres: Iterable[float], levels_dbm: Iterable[float]) -> None:
        metres, levels_dbm = tuple(metres), tuple(levels_dbm)
        self.first_m, self.last_m = min(metres) / ROOM, max(metres) * ROOM
        self.decade = (RIGHT - FIRST_X) / math.log10(self.last_m / self.first_m)
        self.highest_dbm, self.lowest_dbm = max(levels_dbm) + ROOM_DB, min(levels_dbm) - ROOM_DB
        self.per_db = (BOTTOM - TOP) / (self.highest_dbm - self.lowest_dbm)

    def x(self, metres: float) -> float:
        return round(FIRST_X + math.log10(metres / self.first_m) * self.decade, 1)

    def y(self, dbm: float) -> float:
        return round(TOP + (self.highest_dbm - dbm) * self.per_db, 1)


def site_sketch(site: Site, power_mw: float) -> SiteSketch:
    """The drawing of a site, everybody on one power in mW with antennas alike."""
    receiver, station = site.receiver, Station("", round(site.receiver.reference_mhz), power_mw)
    overload_dbm = compression_level_dbm(receiver.iip3_dbm)
    noise_dbm = noise_level_dbm(receiver.if_bandwidth_mhz, receiver.noise_figure_db)
    least_dbm = noise_dbm + FM_THRESHOLD_DB + receiver.fade_allowance_db
    metres = {"near": site.near_m, "pits": site.pit_m, "far": site.far_m}
    dbm = {kind: arriving_dbm(station, site, distance_m) for kind, distance_m in metres.items()}
    dbm["far"] = wanted_level_dbm(station, site)
    scale = _Scale(metres.values(), [overload_dbm, least_dbm, *dbm.values()])
    limits = (
        Limit(overload_dbm, scale.y(overload_dbm), _("overload from %(level)s", level=_dbm(overload_dbm))),
        Limit(least_dbm, scale.y(least_dbm), _("least, fades kept, %(level)s", level=_dbm(least_dbm))),
    )
    points = _points(metres, dbm, limits, scale)
    step = f"{decimal(dbm['near'] - dbm['far'], 1)} dB"
    near_dbm, far_dbm = (arriving_dbm(station, site, end_m) for end_m in (scale.first_m, scale.last_m))
    return SiteSketch(
        power_mw=power_mw,
        slope=(scale.x(scale.first_m), scale.y(near_dbm), scale.x(scale.last_m), scale.y(far_dbm)),
        points=points,
        limits=limits,
        step=step,
        metres=_metres(scale),
        dbm=_levels(scale),
        words=_words(points, limits, step, power_mw),
        height=max(HEIGHT, *(point.name_y + LINE for point in points)),
    )


def arriving_dbm(station: Station, site: Site, distance_m: float) -> float:
    """Level in dBm at another pilot's receiver of a transmitter at a distance, antennas alike."""
    return float(unwanted_level_dbm([station], site, distance_m)[0, 0])


def _points(
    metres: Mapping[str, float], dbm: Mapping[str, float], limits: Sequence[Limit], scale: _Scale
) -> tuple[Point, ...]:
    """The distances from the nearest, each with a level and a name that lie over no other."""
    kinds = sorted(metres, key=lambda kind: metres[kind])
    levels = {kind: _level(kind, dbm[kind], limits) for kind in kinds}
    names = {kind: f"{_(_NAMES[kind])} {short_decimal(metres[kind])} m" for kind in kinds}
    x, y = {kind: scale.x(metres[kind]) for kind in kinds}, {kind: scale.y(dbm[kind]) for kind in kinds}
    # Above the slope there is room as far as the own aircraft, below it as far as the pilots.
    above = [kind for kind in kinds if kind != "far" and x[kind] + 9 + _width(levels[kind]) <= x["far"]]
    below = [kind for kind in kinds if kind not in above]
    level_y = {kind: y[kind] - 6 for kind in above} | {kind: y[kind] + LINE for kind in below}
    for right, left in pairwise(reversed(above)):
        if x[left] + _width(levels[left]) >= x[right]:
            level_y[left] = min(level_y[left], level_y[right] - LINE)
    for left, right in pairwise(below):
        if x[right] - _width(levels[right]) <= x[left]:
            level_y[right] = max(level_y[right], level_y[left] + LINE)
    name_x = {kind: min(x[kind], WIDTH - _width(names[kind]) / 2) for kind in kinds}
    rows = _rows([(LEFT, _width(_("pilots"))), *((name_x[kind], _width(names[kind])) for kind in kinds)])[1:]
    return tuple(
        Point(
            kind=kind,
            metres=metres[kind],
            dbm=dbm[kind],
            x=x[kind],
            y=y[kind],
            level=levels[kind],
            level_x=round(x[kind] + (9 if kind in above else -9), 1),
            level_y=round(level_y[kind], 1),
            is_left=kind in below,
            name=names[kind],
            name_x=round(name_x[kind], 1),
            name_y=NAMES + LINE * row,
        )
        for kind, row in zip(kinds, rows, strict=True)
    )


def _rows(names: Sequence[tuple[float, float]]) -> list[int]:
    """For names by (middle, width), from the left: the first row in which each meets no other."""
    ends: list[float] = []
    rows = []
    for middle, width in names:
        left = middle - width / 2
        row = next((row for row, end in enumerate(ends) if end < left), len(ends))
        ends[row : row + 1] = [left + width]
        rows.append(row)
    return rows


def _level(kind: str, dbm: float, limits: Sequence[Limit]) -> str:
    overload, least = limits
    if kind == "near" and dbm > overload.dbm:
        return _("%(level)s, overload", level=_dbm(dbm))
    if kind == "far" and dbm < least.dbm:
        return _("%(level)s, too weak", level=_dbm(dbm))
    return _dbm(dbm)


def _metres(scale: _Scale) -> tuple[tuple[str, float], ...]:
    steps = (1, 2, 5) if scale.decade >= FINE_DECADE else (1,)
    decades = range(math.floor(math.log10(scale.first_m)), math.ceil(math.log10(scale.last_m)) + 1)
    marks = [step * 10.0**decade for decade in decades for step in steps]
    return tuple(
        (short_decimal(mark), scale.x(mark)) for mark in marks if scale.first_m <= mark <= scale.last_m
    )


def _levels(scale: _Scale) -> tuple[tuple[str, float], ...]:
    first = math.ceil(scale.lowest_dbm / STEP_DBM) * STEP_DBM
    marks = range(first, math.floor(scale.highest_dbm) + 1, STEP_DBM)
    return tuple((decimal(mark, 0), scale.y(mark)) for mark in marks)


def _words(points: Sequence[Point], limits: Sequence[Limit], step: str, power_mw: float) -> str:
    """The drawing for those who do not see it."""
    told = "; ".join(
        _(_ARRIVES[one.kind], metres=short_decimal(one.metres), level=one.level) for one in points
    )
    overload, least = limits
    return _(
        "Everybody on %(power)s mW, from the nearest: %(told)s. Near is %(step)s stronger than far. Receivers are "
        "overloaded from %(overload)s; the least that a picture needs, fades kept, is %(least)s.",
        power=short_decimal(power_mw),
        told=told,
        step=step,
        overload=_dbm(overload.dbm),
        least=_dbm(least.dbm),
    )


def _dbm(level_dbm: float) -> str:
    return f"{decimal(level_dbm, 1)} dBm"


def _width(words: str) -> float:
    return len(words) * CHARACTER
