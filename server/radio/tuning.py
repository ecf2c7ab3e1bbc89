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
from server.radio.said import said

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

_EXAMPLE = said("write bands, channels, ranges or MHz, such as A B E F R, R1-R8 or 5800")
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
        raise TuningError("", said("no channel is listed"), _EXAMPLE)
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
        raise TuningError(
            word,
            said("“%(word)s” goes from band to band", word=_shown(word)),
            said("list whole bands one by one, such as A B F"),
        )
    first = _channel(word, low)
    # "R1-8" is what people type for R1-R8.
    last = _channel(word, f"{first.band}{high}" if _NUMBER.fullmatch(high) else high)
    if first.band != last.band:
        cure = said(
            "list each band by itself, such as %(example)s",
            example=f"{first.label}-{first.band}8 {last.band}1-{last.label}",
        )
        raise TuningError(word, said("“%(word)s” does not stay within one band", word=_shown(word)), cure)
    if first.number > last.number:
        raise TuningError(
            word,
            said("“%(word)s” runs backwards", word=_shown(word)),
            said("write %(right)s", right=f"{last.label}-{first.label}"),
        )
    return _labelled(band(first.band)[first.number - 1 : last.number])


def _channels_between(word: str, low_mhz: int, high_mhz: int) -> tuple[Channel, ...]:
    if low_mhz > high_mhz:
        raise TuningError(
            word,
            said("“%(word)s” runs backwards", word=_shown(word)),
            said("write %(right)s", right=f"{high_mhz}-{low_mhz}"),
        )
    inside = tuple(channel for channel in CATALOGUE if low_mhz <= channel.mhz <= high_mhz)
    if not inside:
        cure = said("widen the range, or write single carriers in MHz with spaces between")
        raise TuningError(word, said("“%(word)s” holds no channel of the table", word=_shown(word)), cure)
    return inside


def _mhz(word: str, digits: str) -> int:
    # The length is tested first: int() refuses a very long run of digits with an error of its own.
    if len(digits) > 4 or not LOWEST_MHZ <= int(digits) <= HIGHEST_MHZ:
        cure = said(
            "write whole MHz from %(low)s to %(high)s, such as 5800", low=LOWEST_MHZ, high=HIGHEST_MHZ
        )
        raise TuningError(
            word, said("“%(word)s” is not a carrier in the 5.8 GHz range", word=_shown(word)), cure
        )
    return int(digits)


def _channel(word: str, upper: str) -> Channel:
    if match := _BUTTONS.fullmatch(upper):
        return _numbered(word, _button_band(word, match[1]), match[2])
    if match := _CHANNEL.fullmatch(upper):
        return _numbered(word, match[1], match[2])
    if upper == "ALL":
        raise TuningError(
            word,
            said("“%(word)s” names no band", word=_shown(word)),
            said("write A B E F R where the set tunes all the usual bands"),
        )
    if set(upper) <= set(BANDS):
        raise TuningError(
            word,
            said("“%(word)s” has no space between its bands", word=_shown(word)),
            said("write %(right)s", right=" ".join(upper)),
        )
    if len(upper) == 1 and upper.isalpha():
        raise _unknown_band(word, upper)
    if _DECIMAL.fullmatch(upper):
        raise TuningError(
            word, said("“%(word)s” is not in whole MHz", word=_shown(word)), said("write 5800 for 5.8 GHz")
        )
    raise TuningError(word, said("“%(word)s” is no band, channel, range or MHz", word=_shown(word)), _EXAMPLE)


def _button_band(word: str, digits: str) -> str:
    if len(digits) > 1 or not 1 <= int(digits) <= len(BANDS):
        cure = said(
            "bands count 1 to %(number)s for %(bands)s, then the channel: 5:3 is R3",
            number=len(BANDS),
            bands=_LISTED,
        )
        problem = said("“%(word)s” names band %(band)s, which no set has", word=_shown(word), band=digits)
        raise TuningError(word, problem, cure)
    return BANDS[int(digits) - 1]


def _numbered(word: str, letter: str, digits: str) -> Channel:
    channels = band(letter)
    if not channels:
        raise _unknown_band(word, letter)
    if len(digits) > 1 or not 1 <= int(digits) <= len(channels):
        cure = said(
            "write %(first)s to %(last)s, or the carrier in MHz",
            first=f"{letter}1",
            last=f"{letter}{len(channels)}",
        )
        problem = said(
            "“%(word)s” names a channel that band %(band)s does not have", word=_shown(word), band=letter
        )
        raise TuningError(word, problem, cure)
    return channels[int(digits) - 1]


def _unknown_band(word: str, letter: str) -> TuningError:
    cure = said(
        "the bands are %(bands)s; other letters differ by maker, so write the carrier in MHz: 5800",
        bands=_LISTED,
    )
    problem = said(
        "“%(word)s” names band %(band)s, which is not in the table", word=_shown(word), band=letter
    )
    return TuningError(word, problem, cure)


def _shown(word: str) -> str:
    return word if len(word) <= LONGEST_SHOWN else word[:LONGEST_SHOWN] + "…"
