"""The margins of a plan as a drawing: a row for each pilot, the worst first, on one scale of dB.

Each row has its mark at the pilot's worst margin and a heavy upright at the site ceiling of that heat: what lies
between is what channels might still give, what lies beyond is up to the site. A grade is told by the form of the
mark, by its word, and by where that word begins on the scale. All of it comes from a snapshot.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.radio.grade import word_margins_db
from server.services.margin_words import signed_db
from server.wording import decimal
from server.wording import gettext as _

FIRST_ROWS, ALL_AT_ONCE = 5, 8
"""Rows that are drawn at once where there are more than so many; the others are folded up."""

LOWEST_DB, HIGHEST_DB = -10, 6
"""The scale reaches so far at least: from +5 dB on no picture looks better."""

FARTHEST_DB = 40
"""The scale reaches no farther to either side; a mark beyond it stands at its edge."""

STEP_DB, HEAD, FOOT, CHARACTER = 5, 40, 20, 7.6


@dataclass(frozen=True)
class Layout:
    """A drawing of one width: its plot from left to right, rows of one height, and in a row the mark and texts.

    name, word    x of the left end and y within the row
    margin, heat  x of the right end and y within the row
    """

    width: int
    left: int
    right: int
    row: int
    mark: int
    name: tuple[int, int]
    margin: tuple[int, int]
    word: tuple[int, int]
    heat: tuple[int, int]


WIDE = Layout(900, 204, 650, 22, 11, (0, 16), (736, 16), (748, 16), (898, 16))
NARROW = Layout(352, 8, 284, 44, 30, (0, 15), (268, 15), (276, 15), (351, 35))


@dataclass(frozen=True)
class MarginRow:
    """One pilot in the heat where the margin is worst; None for a pilot who flies alone.

    others_db  the margins in the other heats
    """

    callsign: str
    heat: int
    margin_db: float | None
    ceiling_db: float | None
    grade_word: str
    others_db: tuple[float, ...]


@dataclass(frozen=True)
class PlacedRow:
    """A row where it is drawn.

    x          of the mark, at the right edge for a pilot alone
    beyond     -1 or 1 where the scale ends before the mark, left or right
    ceiling_x  None where the heat has no ceiling
    """

    row: MarginRow
    y: int
    x: float
    beyond: int
    ceiling_x: float | None
    others_x: tuple[float, ...]
    margin: str


@dataclass(frozen=True)
class MarginChart:
    """Some rows in one width.

    words_from  where each word of a grade begins, and the word as far as there is room for it
    ceiling     x and words of the line of the ceiling; None where nobody has one
    scale       marks of the scale in dB
    """

    key: str
    layout: Layout
    height: int
    rows: tuple[PlacedRow, ...]
    words_from: tuple[tuple[float, str], ...]
    ceiling: tuple[float, str] | None
    scale: tuple[tuple[str, float], ...]
    words: str


@dataclass(frozen=True)
class MarginPicture:
    """The rows of a plan, the worst first.

    first, rest  each for wide places and for phones; `rest` is empty where all rows are drawn at once
    """

    rows: tuple[MarginRow, ...]
    first: tuple[MarginChart, ...]
    rest: tuple[MarginChart, ...]

    @property
    def folded(self) -> tuple[MarginRow, ...]:
        """The rows of `rest`."""
        return self.rows[len(self.first[0].rows) :]


class _Scale:
    """Where a margin in dB stands."""

    def __init__(self, rows: Sequence[MarginRow], layout: Layout) -> None:
        shown = [row.margin_db for row in rows if row.margin_db is not None]
        ceilings = [row.ceiling_db for row in rows if row.ceiling_db is not None]
        worst = min([*shown, LOWEST_DB + 1])
        self.low_db = max(-FARTHEST_DB, STEP_DB * math.floor((worst - 1) / STEP_DB))
        self.high_db = min(
            FARTHEST_DB, max([HIGHEST_DB, *(math.ceil(one + 1) for one in [*ceilings, *shown])])
        )
        self.layout = layout

    def x(self, margin_db: float) -> float:
        inside = min(max(margin_db, self.low_db), self.high_db)
        per_db = (self.layout.right - self.layout.left) / (self.high_db - self.low_db)
        return round(self.layout.left + (inside - self.low_db) * per_db, 1)

    def beyond(self, margin_db: float) -> int:
        return (margin_db > self.high_db) - (margin_db < self.low_db)


def margin_picture(snapshot: Mapping[str, Any]) -> MarginPicture | None:
    """The drawing of the heats ahead, of all heats where every one is flown; None where nobody flies in them."""
    flown = snapshot.get("flown_heats", 0)
    heats = [heat for heat in snapshot["heats"] if heat["heat"] > flown] or snapshot["heats"]
    rows = margin_rows(heats)
    if not rows:
        return None
    at_once = len(rows) if len(rows) <= ALL_AT_ONCE else FIRST_ROWS
    parts = ("first", rows[:at_once]), ("rest", rows[at_once:])
    first, rest = (
        tuple(_chart(key, part, rows, layout) for layout in (WIDE, NARROW) if part) for key, part in parts
    )
    return MarginPicture(rows, first, rest)


def margin_rows(heats: Iterable[Mapping[str, Any]]) -> tuple[MarginRow, ...]:
    """A row for each pilot of some heats of a snapshot, the worst first, whoever is alone last."""
    slots: dict[int, list[tuple[Mapping[str, Any], Mapping[str, Any]]]] = {}
    for heat in heats:
        for slot in heat["slots"]:
            slots.setdefault(slot["pilot_id"], []).append((heat, slot))
    return tuple(sorted((_row(found) for found in slots.values()), key=_worst_first))


def _row(slots: Sequence[tuple[Mapping[str, Any], Mapping[str, Any]]]) -> MarginRow:
    heat, worst = min(slots, key=lambda found: _or_endless(found[1]["margin_db"]))
    others = [slot["margin_db"] for _, slot in slots if slot is not worst]
    return MarginRow(
        callsign=worst["callsign"],
        heat=heat["heat"],
        margin_db=worst["margin_db"],
        ceiling_db=heat["site_ceiling_db"],
        grade_word=worst["grade_word"],
        others_db=tuple(one for one in others if one is not None),
    )


def _worst_first(row: MarginRow) -> tuple[float, int, str]:
    return _or_endless(row.margin_db), row.heat, row.callsign


def _or_endless(margin_db: float | None) -> float:
    return math.inf if margin_db is None else margin_db


def _chart(key: str, rows: Sequence[MarginRow], of: Sequence[MarginRow], layout: Layout) -> MarginChart:
    """Some of the rows, on the scale of all of them."""
    scale = _Scale(of, layout)
    return MarginChart(
        key=f"{key}-{layout.width}",
        layout=layout,
        height=HEAD + layout.row * len(rows) + FOOT,
        rows=tuple(_placed(row, HEAD + layout.row * place, scale) for place, row in enumerate(rows)),
        words_from=_words_from(scale),
        ceiling=_ceiling(of, scale),
        scale=tuple(
            (decimal(db, 0, signed=db > 0), scale.x(db))
            for db in range(scale.low_db, scale.high_db + 1, STEP_DB)
        ),
        words=_words(rows),
    )


def _placed(row: MarginRow, y: int, scale: _Scale) -> PlacedRow:
    margin_db = _or_endless(row.margin_db)
    return PlacedRow(
        row=row,
        y=y,
        x=scale.x(margin_db),
        beyond=scale.beyond(margin_db),
        ceiling_x=None if row.ceiling_db is None else scale.x(row.ceiling_db),
        others_x=tuple(scale.x(one) for one in row.others_db),
        margin=_margin(row),
    )


def _words_from(scale: _Scale) -> tuple[tuple[float, str], ...]:
    """From the right: each word has room up to the one that begins above it."""
    found, end = [], float(scale.layout.right)
    for key, margin_db in word_margins_db():
        word = _(key)
        if scale.low_db < margin_db < scale.high_db:
            x = scale.x(margin_db)
            found.append((x, word if len(word) * CHARACTER + 8 < end - x else ""))
            end = x
    return tuple(found)


def _ceiling(rows: Sequence[MarginRow], scale: _Scale) -> tuple[float, str] | None:
    ceilings = {row.ceiling_db for row in rows if row.ceiling_db is not None}
    if not ceilings:
        return None
    lowest = min(ceilings)
    if len(ceilings) == 1:
        return scale.x(lowest), _("site ceiling %(margin)s", margin=signed_db(lowest))
    return scale.x(lowest), _("site ceiling, from %(margin)s on", margin=signed_db(lowest))


def _margin(row: MarginRow) -> str:
    return _("alone") if row.margin_db is None else signed_db(row.margin_db)


def _words(rows: Sequence[MarginRow]) -> str:
    """The drawing for those who do not see it."""
    told = "; ".join(
        _(
            "%(callsign)s %(margin)s, %(word)s, in heat %(heat)s",
            callsign=row.callsign,
            margin=_margin(row),
            word=_(row.grade_word),
            heat=row.heat,
        )
        for row in rows
    )
    sentences = [_("The worst first: %(told)s.", told=told)]
    ceilings = sorted({row.ceiling_db for row in rows if row.ceiling_db is not None})
    if ceilings:
        margins = ", ".join(signed_db(one) for one in ceilings)
        sentences.append(_("Site ceiling %(margins)s.", margins=margins))
    return " ".join(sentences)
