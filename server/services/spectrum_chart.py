"""The spectrum of one heat as a drawing: where everything stands, in the units of an SVG.

Frequency runs from left to right. Above the axis each carrier is a mast that flies its label, on a foot as wide
as its occupied width. Products hang below the axis, the longer the stronger, and a line marks the level at which
one of them, right on a channel, spoils the weakest picture. Below them brackets show what each receiver lets in,
with its margin. What else is on the air stands on the axis as a lined block. All of it comes from a snapshot;
nothing is computed here but places.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from server.radio.grade import REFERENCE_RATIO_DB
from server.radio.rules import FLAGGED_RANGES
from server.services.cause_words import product_words
from server.services.margin_words import signed_db
from server.services.spectrum_shapes import Block, Chart, Mast, ProductTick, Range, Window
from server.wording import decimal, short_decimal
from server.wording import gettext as _

_Kept = TypeVar("_Kept")

TO, CUT = "\N{EN DASH}", "\N{HORIZONTAL ELLIPSIS}"

WIDE, NARROW = 680, 360
"""Widths to draw for: a page or a sheet of paper, and a phone."""

LEFT, RIGHT = 16, 66
ROOM_MHZ = 16
"""Spectrum shown beyond the outermost usable channels."""

HEAD, LABEL_ROW, MAST, FOOT = 24, 18, 30, 8
PRODUCTS, SPOILS_AT = 60, 48
HARMLESS_DB = 40.0
"""A product this far below the level that spoils a picture has no length left."""

BLOCK, THINNEST_BLOCK = 24, 4
"""Height of an outside signal, and its least width: a carrier has none of its own."""

WINDOW_ROW, SCALE, STEADY_WINDOW_ROWS = 30, 20, 3
CHARACTER, MOST_CHARACTERS, GAP = 7.7, 14, 10
_TICK_MHZ = 50


class _Scale:
    def __init__(self, spectrum: Mapping[str, Any], width: int) -> None:
        self.low_mhz, self.high_mhz = spectrum["low_mhz"] - ROOM_MHZ, spectrum["high_mhz"] + ROOM_MHZ
        self.right = width - RIGHT
        self.per_mhz = (self.right - LEFT) / (self.high_mhz - self.low_mhz)

    def x(self, mhz: float) -> float:
        return round(LEFT + (mhz - self.low_mhz) * self.per_mhz, 1)

    def holds(self, mhz: float) -> bool:
        return self.low_mhz <= mhz <= self.high_mhz

    def width(self, mhz: float) -> float:
        return round(mhz * self.per_mhz, 1)

    def shown(self, low_mhz: float, high_mhz: float, words: str = "") -> Range | None:
        low, high = max(low_mhz, self.low_mhz), min(high_mhz, self.high_mhz)
        if low >= high:
            return None
        width = self.width(high - low)
        return Range(self.x(low), width, words if len(words) * CHARACTER < width else "")


def spectrum_chart(
    snapshot: Mapping[str, Any],
    heat: Mapping[str, Any],
    width: int = WIDE,
    before: Mapping[str, Any] | None = None,
    is_steady: bool = False,
) -> Chart | None:
    """The drawing of a heat; None where the plan was stored without one, or nobody flies.

    snapshot   has the frame of the day under "spectrum", transmitters that are still on under "down", what else
               is on the air under "outside"
    heat       one heat of a snapshot
    before     the same heat as it is, where `heat` is a trial of moving one pilot
    is_steady  as high as the heat ever needs, so that nothing below jumps while a pilot is stepped
    """
    spectrum = snapshot.get("spectrum")
    if not spectrum or not heat["slots"] or "products" not in heat:
        return None
    scale = _Scale(spectrum, width)
    slots = sorted(heat["slots"], key=_by_frequency)
    carriers = sorted([*slots, *_down(snapshot, heat)], key=_by_frequency)
    rows = _label_rows([(scale.x(one["mhz"]), _flag_width(one, scale, width)) for one in carriers])
    axis_y = HEAD + LABEL_ROW * (len(carriers) if is_steady else max(rows) + 1) + MAST
    masts = tuple(
        _mast(one, row, axis_y, spectrum, scale, width) for one, row in zip(carriers, rows, strict=True)
    )
    windows = _windows(slots, axis_y + PRODUCTS + 8, spectrum["window_mhz"], scale)
    moved = _moved(before, heat)
    lowest = axis_y + PRODUCTS + 8 + WINDOW_ROW * (STEADY_WINDOW_ROWS - 1) if is_steady else 0
    scale_y = max(lowest, *(window.y for window in windows)) + WINDOW_ROW
    return Chart(
        key=f"{heat['heat']}-{width}",
        width=width,
        height=scale_y + SCALE,
        axis_y=axis_y,
        products_y=axis_y + PRODUCTS,
        spoils_y=axis_y + SPOILS_AT,
        scale_y=scale_y,
        left=LEFT,
        right=scale.right,
        masts=masts,
        moved=moved[0] if moved else None,
        was_x=scale.x(moved[1]) if moved else None,
        foot_width=scale.width(spectrum["occupied_mhz"]),
        products=_products(heat, scale),
        windows=windows,
        allowed=_present(
            scale.shown(low, high, f"{short_decimal(low)}{TO}{short_decimal(high)} MHz")
            for low, high in spectrum["ranges_mhz"]
        ),
        flagged=_present(scale.shown(low, high) for low, high in FLAGGED_RANGES),
        outside=_outside(snapshot, heat, axis_y, scale),
        scale=_ticks(scale),
        title=_("Spectrum of heat %(heat)s", heat=heat["heat"]),
        words=_words(carriers, heat, _outside_there(snapshot, heat)),
    )


def charts(
    snapshot: Mapping[str, Any],
    heat: Mapping[str, Any],
    before: Mapping[str, Any] | None = None,
    is_steady: bool = False,
) -> tuple[Chart, ...]:
    """The drawing for wide places and for phones; none where the plan was stored without.

    Only that for phones is ever steady: wide places have nothing below it that could jump.
    """
    return _present(
        (
            spectrum_chart(snapshot, heat, WIDE, before),
            spectrum_chart(snapshot, heat, NARROW, before, is_steady),
        )
    )


def _mast(
    slot: Mapping[str, Any], row: int, axis_y: float, spectrum: Mapping[str, Any], scale: _Scale, width: int
) -> Mast:
    foot = scale.width(spectrum["occupied_mhz"])
    return Mast(
        pilot_id=slot["pilot_id"],
        callsign=slot["callsign"],
        mhz=slot["mhz"],
        x=scale.x(slot["mhz"]),
        top=axis_y - MAST - LABEL_ROW * (row + 1),
        label=_label(slot),
        name=_name(slot, scale, width),
        foot_x=round(scale.x(slot["mhz"]) - foot / 2, 1),
        foot_width=foot,
        words=_place(slot),
    )


def _label_rows(flags: Sequence[tuple[float, float]]) -> list[int]:
    """For flags by (x of the mast, width), from the left: the row of each, 0 the lowest, none across a mast."""
    rows = [0] * len(flags)
    for place in range(len(flags) - 2, -1, -1):
        x, width = flags[place]
        crossed = [rows[right] for right in range(place + 1, len(flags)) if flags[right][0] <= x + width]
        rows[place] = max(crossed) + 1 if crossed else 0
    return rows


def _flag_width(slot: Mapping[str, Any], scale: _Scale, width: int) -> float:
    return (len(_label(slot)) + 1 + len(_name(slot, scale, width))) * CHARACTER + GAP


def _label(slot: Mapping[str, Any]) -> str:
    return str(slot["channel"] or slot["mhz"])


def _name(slot: Mapping[str, Any], scale: _Scale, width: int) -> str:
    """The callsign, cut short where the drawing ends."""
    fits = int((width - scale.x(slot["mhz"]) - 6) / CHARACTER) - len(_label(slot)) - 1
    most = max(3, min(MOST_CHARACTERS, fits))
    callsign = str(slot["callsign"])
    return callsign if len(callsign) <= most else f"{callsign[: most - 1]}{CUT}"


def _by_frequency(slot: Mapping[str, Any]) -> tuple[int, str]:
    return slot["mhz"], slot["callsign"]


def _down(snapshot: Mapping[str, Any], heat: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Transmitters that are down and still on, which every heat ahead hears, in the shape of slots."""
    if not _is_ahead(snapshot, heat):
        return []
    return [
        {"pilot_id": None, "callsign": one["callsign"], "channel": "DOWN", "mhz": one["mhz"]}
        for one in snapshot.get("down", ())
    ]


def _is_ahead(snapshot: Mapping[str, Any], heat: Mapping[str, Any]) -> bool:
    return bool(heat["heat"] > snapshot.get("flown_heats", 0))


def _outside_there(snapshot: Mapping[str, Any], heat: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    """What else is on the air, which every heat ahead hears."""
    there: Sequence[Mapping[str, Any]] = snapshot.get("outside", ())
    return there if _is_ahead(snapshot, heat) else ()


def _outside(
    snapshot: Mapping[str, Any], heat: Mapping[str, Any], axis_y: float, scale: _Scale
) -> tuple[Block, ...]:
    found = []
    for one in _outside_there(snapshot, heat):
        half = max(one["width_mhz"], THINNEST_BLOCK / scale.per_mhz) / 2
        part = scale.shown(one["centre_mhz"] - half, one["centre_mhz"] + half)
        if part:
            level = decimal(one["level_dbm"], 0)
            fits = len(level) * CHARACTER < part.width
            found.append(
                Block(part.x, part.width, axis_y - BLOCK, BLOCK, level if fits else "", _outside_words(one))
            )
    return tuple(found)


def _outside_words(one: Mapping[str, Any]) -> str:
    words = f"{one['words'][:1].upper()}{one['words'][1:]}"
    if not one["width_mhz"]:
        return _("%(signal)s, a carrier, %(level)s", signal=words, level=_dbm(one))
    width = short_decimal(one["width_mhz"])
    return _("%(signal)s, %(width)s MHz wide, %(level)s", signal=words, width=width, level=_dbm(one))


def _products(heat: Mapping[str, Any], scale: _Scale) -> tuple[ProductTick, ...]:
    """The lower end of the scale is the level that is harmless even right on a channel."""
    spoils_dbm = heat["weakest_wanted_dbm"] - REFERENCE_RATIO_DB
    found = []
    for one in heat["products"]:
        above_db = one["level_dbm"] - spoils_dbm + HARMLESS_DB
        length = round(min(float(PRODUCTS), SPOILS_AT * above_db / HARMLESS_DB), 1)
        if length > 0 and scale.holds(one["mhz"]):
            words = f"{product_words(one['of'])}: {one['mhz']} MHz, {_dbm(one)}"
            found.append(ProductTick(one["mhz"], scale.x(one["mhz"]), length, words))
    return tuple(found)


def _windows(
    slots: Sequence[Mapping[str, Any]], top: float, window_mhz: float, scale: _Scale
) -> tuple[Window, ...]:
    """Brackets from the left, each in the first row where it meets no other."""
    ends: list[float] = []
    found = []
    for slot in slots:
        x, width = scale.x(slot["mhz"]), scale.width(window_mhz)
        margin = _("alone") if slot["margin_db"] is None else signed_db(slot["margin_db"]).removesuffix(" dB")
        reach = max(width, len(margin) * CHARACTER) / 2 + 2
        row = next((row for row, end in enumerate(ends) if end <= x - reach), len(ends))
        ends[row : row + 1] = [x + reach]
        found.append(Window(slot["callsign"], round(x - width / 2, 1), width, top + WINDOW_ROW * row, margin))
    return tuple(found)


def _moved(before: Mapping[str, Any] | None, heat: Mapping[str, Any]) -> tuple[int, int] | None:
    """Who stands elsewhere than before, and where that was in MHz."""
    was = {slot["pilot_id"]: slot["mhz"] for slot in before["slots"]} if before else {}
    for slot in heat["slots"]:
        mhz = was.get(slot["pilot_id"], slot["mhz"])
        if mhz != slot["mhz"]:
            return slot["pilot_id"], mhz
    return None


def _ticks(scale: _Scale) -> tuple[tuple[int, float], ...]:
    first = -(-scale.low_mhz // _TICK_MHZ) * _TICK_MHZ
    return tuple((mhz, scale.x(mhz)) for mhz in range(first, scale.high_mhz + 1, _TICK_MHZ))


def _dbm(product: Mapping[str, Any]) -> str:
    return f"{decimal(product['level_dbm'], 0)} dBm"


def _place(slot: Mapping[str, Any]) -> str:
    """ "R1 5658 MHz, margin +1.0 dB"."""
    if slot["pilot_id"] is None:
        return _("%(mhz)s MHz, down and still on", mhz=slot["mhz"])
    place = f"{slot['channel'] or ''} {slot['mhz']} MHz".strip()
    if slot["margin_db"] is None:
        return _("%(channel)s, alone", channel=place)
    return _("%(channel)s, margin %(margin)s", channel=place, margin=signed_db(slot["margin_db"]))


def _words(
    slots: Sequence[Mapping[str, Any]], heat: Mapping[str, Any], outside: Sequence[Mapping[str, Any]]
) -> str:
    """The drawing for those who do not see it."""
    told = "; ".join(
        _("%(callsign)s on %(place)s", callsign=slot["callsign"], place=_place(slot)) for slot in slots
    )
    sentences = [_("From the lowest frequency: %(told)s.", told=told)]
    sentences += [f"{_outside_words(one)}." for one in outside]
    strongest = max(heat["products"], key=lambda one: one["level_dbm"], default=None)
    if strongest is None:
        sentences.append(_("No product lands anywhere."))
    else:
        text = _(
            "The strongest product, %(product)s, lands on %(mhz)s MHz with %(level)s.",
            product=product_words(strongest["of"]),
            mhz=strongest["mhz"],
            level=_dbm(strongest),
        )
        sentences.append(text)
    return " ".join(sentences)


def _present(found: Iterable[_Kept | None]) -> tuple[_Kept, ...]:
    return tuple(one for one in found if one is not None)
