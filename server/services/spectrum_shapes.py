"""The parts of the drawing of a spectrum: places in the units of its SVG, and words."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Mast:
    """A carrier: its mast at x from the axis up to top, its flag beside the top.

    pilot_id  None for a transmitter that is down and still on, which flies with nobody
    """

    pilot_id: int | None
    callsign: str
    mhz: int
    x: float
    top: float
    label: str
    name: str
    foot_x: float
    foot_width: float
    words: str


@dataclass(frozen=True)
class ProductTick:
    """Products that land on one MHz."""

    mhz: int
    x: float
    length: float
    words: str


@dataclass(frozen=True)
class Window:
    """What a receiver lets in, with the margin that is left."""

    callsign: str
    x: float
    width: float
    y: float
    margin: str


@dataclass(frozen=True)
class Range:
    """A piece of spectrum, as far as it is shown; words empty where they do not fit."""

    x: float
    width: float
    words: str


@dataclass(frozen=True)
class Block:
    """An outside signal as far as it is shown; `level` is empty where it does not fit."""

    x: float
    width: float
    top: float
    height: float
    level: str
    words: str


@dataclass(frozen=True)
class Chart:
    """One heat. `was_x` is where a pilot stands who is moved on trial, None without trial."""

    key: str
    width: int
    height: float
    axis_y: float
    products_y: float
    spoils_y: float
    scale_y: float
    left: float
    right: float
    masts: tuple[Mast, ...]
    moved: int | None
    was_x: float | None
    foot_width: float
    products: tuple[ProductTick, ...]
    windows: tuple[Window, ...]
    allowed: tuple[Range, ...]
    flagged: tuple[Range, ...]
    outside: tuple[Block, ...]
    scale: tuple[tuple[int, float], ...]
    title: str
    words: str
