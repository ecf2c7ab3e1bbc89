"""The catalogue of 5.8 GHz analogue video channels: band letter, number, carrier in MHz.

The table itself is `channels.csv` beside this file. It is common practice of the trade; no published
standard fixes it. Two labels can mean one frequency (F8 and R7), so everything that decides works in MHz
and labels are only for reading.
"""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

LOOKALIKE_MHZ = 15
"""A receiver this far off tune still shows a picture on the bench (it loses 7 dB); beyond, it does not."""

TWIN_MHZ = 1
"""Channels this close cannot be told apart by any receiver: A1 and B8, R5 and A4."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One row of the catalogue; the carrier in whole MHz."""

    band: str
    number: int
    mhz: int

    @property
    def label(self) -> str:
        return f"{self.band}{self.number}"


def _read_catalogue() -> tuple[Channel, ...]:
    lines = Path(__file__).with_name("channels.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return tuple(Channel(row["band"], int(row["number"]), int(row["mhz"])) for row in rows)


CATALOGUE: tuple[Channel, ...] = _read_catalogue()
"""All channels in the order of the table: A B E F R L, each by number."""

BANDS: tuple[str, ...] = tuple(dict.fromkeys(channel.band for channel in CATALOGUE))
"""Band letters in the order of the table."""

_BY_LABEL = {channel.label: channel for channel in CATALOGUE}


def channel_named(label: str) -> Channel:
    """The catalogue channel with this label, any case. Raises KeyError for any other label."""
    return _BY_LABEL[label.upper()]


def band(letter: str) -> tuple[Channel, ...]:
    """The channels of one band by number, any case; empty for a letter that is not in the table."""
    return tuple(channel for channel in CATALOGUE if channel.band == letter.upper())


@cache
def labels_at(mhz: int) -> tuple[str, ...]:
    """Every label of this carrier in the order of the table; empty where the table has none."""
    return tuple(channel.label for channel in CATALOGUE if channel.mhz == mhz)


def lookalikes(mhz: int, within_mhz: int = LOOKALIKE_MHZ) -> tuple[Channel, ...]:
    """Channels at another frequency at most `within_mhz` away: right on the bench, wrong in the air.

    Nearest first, then in the order of the table. A receiver 10 MHz off tune loses 1.5 dB and shows a fine
    picture close by; 15 MHz off it loses 7 dB, less than half the range.
    """
    near = [channel for channel in CATALOGUE if 0 < abs(channel.mhz - mhz) <= within_mhz]
    return tuple(sorted(near, key=lambda channel: abs(channel.mhz - mhz)))


def twins(mhz: int) -> tuple[Channel, ...]:
    """Channels at another frequency that no receiver tells apart from this one."""
    return lookalikes(mhz, TWIN_MHZ)
