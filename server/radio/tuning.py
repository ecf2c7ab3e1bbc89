"""What a transmitter or a receiver can tune, read from the words people type at a check-in desk.

The words, in any case, between spaces or commas:

    R           a whole band: A B E F R L
    R1          one channel
    R1-R8 R1-8  the channels of one band from … to
    5:3         push-button gear: fifth band, third channel
    5800        a carrier in MHz, in the table or not; "MHz" may follow
    5725-5875   the channels of the table from … to, both ends included

Push-button sets count their bands A B E F R L as 1 to 6: common practice, no published source.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field

from server.radio.channels import BANDS, CATALOGUE, Channel, band
from server.radio.errors import TuningError

LOWEST_MHZ = 5300
HIGHEST_MHZ = 6000
"""Carriers outside these are a slip of the finger: the model's path loss and the antennas are for 5.8 GHz."""

LONGEST_SHOWN = 24

Carriers = tuple[tuple[int, str | None], ...]
"""(MHz, label) pairs in the order listed; the label is None for a carrier typed in MHz."""

_DASHES = re.compile(r"\s*[-\u2010-\u2014\u2212]\s*")
_UNIT = re.compile(r"(?<=[0-9])\s*mhz\b", re.IGNORECASE)
_SEPARATORS = re.compile(r"[\s,]+")
_CHANNEL = re.compile(r"([A-Z])([0-9]+)")
_BUTTONS = re.compile(r"([0-9]+):([0-9]+)")
_NUMBER = re.compile(r"[0-9]+")
_DECIMAL = re.compile(r"[0-9]+[.][0-9]+")

_EXAMPLE = "write bands, channels, ranges or MHz, such as A B E F R, R1-R8 or 5800"
_LISTED = " ".join(BANDS)


@dataclass(frozen=True)
class TuningWord:
    """One word and the carriers that it means."""

    text: str
    carriers: Carriers


@dataclass(frozen=True)
class Tuning:
    """A set of carriers.

    mhz        whole MHz, ascending, each once
    label_for  the first label that was listed for each carrier, None where only MHz were typed
    """

    mhz: tuple[int, ...]
    label_for: Mapping[int, str | None] = field(hash=False)


def parse_tuning(text: str) -> Tuning:
    """The carriers that a list of words means. Raises TuningError at the first word that means none."""
    label_for: dict[int, str | None] = {}
    for word in tuning_words(text):
        for mhz, label in word.carriers:
            label_for[mhz] = label_for.get(mhz) or label
    return Tuning(tuple(sorted(label_for)), label_for)


def tuning_words(text: str) -> tuple[TuningWord, ...]:
    """The list word by word, for an echo of what was understood.

    Raises TuningError for an empty list, and at the first word that means no carrier.
    """
    joined = _UNIT.sub("", _DASHES.sub("-", unicodedata.normalize("NFKC", text)))
    words = [word for word in _SEPARATORS.split(joined) if word]
    if not words:
        raise TuningError("", "no channel is listed", _EXAMPLE)
    return tuple(TuningWord(word, _carriers(word)) for word in words)


def _carriers(word: str) -> Carriers:
    upper = word.upper()
    if upper in BANDS:
        return _labelled(band(upper))
    low, dash, high = upper.partition("-")
    if dash and low and high:
        return _range(word, low, high)
    if _NUMBER.fullmatch(upper):
        return ((_mhz(word, upper), None),)
    return _labelled((_channel(word, upper),))


def _labelled(channels: tuple[Channel, ...]) -> Carriers:
    return tuple((channel.mhz, channel.label) for channel in channels)


def _range(word: str, low: str, high: str) -> Carriers:
    if _NUMBER.fullmatch(low) and _NUMBER.fullmatch(high):
        return _labelled(_channels_between(word, _mhz(word, low), _mhz(word, high)))
    if low in BANDS or high in BANDS:
        raise _error(word, "goes from band to band", "list whole bands one by one, such as A B F")
    first = _channel(word, low)
    # "R1-8" is what people type for R1-R8.
    last = _channel(word, f"{first.band}{high}" if _NUMBER.fullmatch(high) else high)
    if first.band != last.band:
        cure = f"list each band by itself, such as {first.label}-{first.band}8 {last.band}1-{last.label}"
        raise _error(word, "does not stay within one band", cure)
    if first.number > last.number:
        raise _error(word, "runs backwards", f"write {last.label}-{first.label}")
    return _labelled(band(first.band)[first.number - 1 : last.number])


def _channels_between(word: str, low_mhz: int, high_mhz: int) -> tuple[Channel, ...]:
    if low_mhz > high_mhz:
        raise _error(word, "runs backwards", f"write {high_mhz}-{low_mhz}")
    inside = tuple(channel for channel in CATALOGUE if low_mhz <= channel.mhz <= high_mhz)
    if not inside:
        cure = "widen the range, or write single carriers in MHz with spaces between"
        raise _error(word, "holds no channel of the table", cure)
    return inside


def _mhz(word: str, digits: str) -> int:
    # The length is tested first: int() refuses a very long run of digits with an error of its own.
    if len(digits) > 4 or not LOWEST_MHZ <= int(digits) <= HIGHEST_MHZ:
        cure = f"write whole MHz from {LOWEST_MHZ} to {HIGHEST_MHZ}, such as 5800"
        raise _error(word, "is not a carrier in the 5.8 GHz range", cure)
    return int(digits)


def _channel(word: str, upper: str) -> Channel:
    if match := _BUTTONS.fullmatch(upper):
        return _numbered(word, _button_band(word, match[1]), match[2])
    if match := _CHANNEL.fullmatch(upper):
        return _numbered(word, match[1], match[2])
    if upper == "ALL":
        raise _error(word, "names no band", "write A B E F R where the set tunes all the usual bands")
    if set(upper) <= set(BANDS):
        raise _error(word, "has no space between its bands", f"write {' '.join(upper)}")
    if len(upper) == 1 and upper.isalpha():
        raise _unknown_band(word, upper)
    if _DECIMAL.fullmatch(upper):
        raise _error(word, "is not in whole MHz", "write 5800 for 5.8 GHz")
    raise _error(word, "is no band, channel, range or MHz", _EXAMPLE)


def _button_band(word: str, digits: str) -> str:
    if len(digits) > 1 or not 1 <= int(digits) <= len(BANDS):
        cure = f"bands count 1 to {len(BANDS)} for {_LISTED}, then the channel: 5:3 is R3"
        raise _error(word, f"names band {digits}, which no set has", cure)
    return BANDS[int(digits) - 1]


def _numbered(word: str, letter: str, digits: str) -> Channel:
    channels = band(letter)
    if not channels:
        raise _unknown_band(word, letter)
    if len(digits) > 1 or not 1 <= int(digits) <= len(channels):
        cure = f"write {letter}1 to {letter}{len(channels)}, or the carrier in MHz"
        raise _error(word, f"names a channel that band {letter} does not have", cure)
    return channels[int(digits) - 1]


def _unknown_band(word: str, letter: str) -> TuningError:
    cure = f"the bands are {_LISTED}; other letters differ by maker, so write the carrier in MHz: 5800"
    return _error(word, f"names band {letter}, which is not in the table", cure)


def _error(word: str, fault: str, cure: str) -> TuningError:
    shown = word if len(word) <= LONGEST_SHOWN else word[:LONGEST_SHOWN] + "…"
    return TuningError(word, f"“{shown}” {fault}", cure)
