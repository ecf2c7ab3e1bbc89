"""Video set-ups: from the words of a desk or a file to what a transmitter and its goggles can do."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from server.radio.channels import labels_at
from server.radio.errors import TuningError
from server.radio.tuning import Tuning, parse_tuning
from server.services.faults import FieldFault, FieldsError, shown
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import marked, plain_decimal, short_decimal, typed_decimal

ANTENNAS = ("rhcp", "lhcp", "linear")
UNKNOWN = "?"
ASSUMED_POWER_MW = 25.0
ASSUMED_TUNES = "A B F"
"""Taken for a set whose bands nobody knows: common practice, no source. Older sets lack R, some lack E."""

LOWEST_POWER_MW, HIGHEST_POWER_MW = 0.01, 5000.0
LOWEST_GAIN_DBI, HIGHEST_GAIN_DBI = -20.0, 30.0

FIELDS = ("tunes", "receives", "power_mw", "pit_power_mw", "antenna", "rx_antenna", "antenna_gain_dbi")
"""The fields of a video set-up, all text."""

_POWER = re.compile(r"([0-9]*[.]?[0-9]+)(?:mw)?", re.IGNORECASE)
_GAIN = re.compile(r"[+-]?[0-9]*[.]?[0-9]+")
_POWER_UNIT = re.compile(r"(?<=[0-9])\s+mw\b", re.IGNORECASE)


@dataclass(frozen=True)
class GearPreset:
    """Common gear that the desk picks by name; empty tunes mean that the channel is typed next."""

    name: str
    tunes: str
    note: str

    @property
    def words(self) -> str:
        """The note in the language spoken."""
        return _(self.note, assumed=ASSUMED_TUNES)


PRESETS: tuple[GearPreset, ...] = (
    GearPreset(marked("all bands"), "A B E F R", marked("the usual set of 40 channels")),
    GearPreset(
        marked("all bands, E locked"), "A B E1-E3 E5 E6 F R", marked("the same with E4, E7 and E8 locked")
    ),
    GearPreset(marked("R only"), "R", marked("many goggles and light sets")),
    GearPreset("A B E F", "A B E F", marked("an older set of 32 channels, without R")),
    GearPreset(marked("E, locked"), "E1-E3 E5 E6", marked("band E with E4, E7 and E8 locked")),
    GearPreset(marked("one channel"), "", marked("a fixed set: type its channel or its MHz")),
    GearPreset(marked("don't know"), UNKNOWN, marked("%(assumed)s is assumed until somebody looks")),
)
"""Common practice, no source."""

_TUNES_OF_PRESET = {preset.name.casefold(): preset.tunes for preset in PRESETS if preset.tunes}


@dataclass(frozen=True)
class VideoSetup:
    """What one aircraft's video can do.

    usable_mhz      what transmitter and goggles can both tune, ascending
    labels          the pilot's own name for each usable carrier, where there is one
    power_steps_mw  ascending
    assumed         what nobody knew, as (field, what is taken for it)
    """

    tunes: Tuning
    receives: Tuning
    usable_mhz: tuple[int, ...]
    labels: Mapping[int, str] = field(hash=False)
    power_steps_mw: tuple[float, ...]
    pit_power_mw: float | None
    antenna: str
    rx_antenna: str
    gain_dbi: float
    assumed: tuple[tuple[str, str], ...] = ()


def assumption_words(callsign: str, field: str, value: str) -> str:
    """What is taken for a part of a pilot's gear that nobody knew, and what to do about it."""
    taken = {"callsign": callsign, "value": value}
    return {
        "tunes": _("%(callsign)s: nobody knew the channels, %(value)s taken. Ask, and plan again.", **taken),
        "receives": _(
            "%(callsign)s: nobody knew what the goggles show, %(value)s taken. Ask, and plan again.", **taken
        ),
        "power_mw": _(
            "%(callsign)s: nobody knew the power, %(value)s mW taken. Ask, and plan again.", **taken
        ),
    }[field]


def read_setup(typed: Mapping[str, str], whose: str) -> VideoSetup:
    """The video set-up that a form or a row describes; missing fields are empty ones.

    typed  text by name, see FIELDS
    whose  callsign, for the message when goggles and transmitter have nothing in common

    Raises FieldsError with the faults of all fields.
    """
    reading = _Reading(typed)
    tunes = reading.tunes()
    receives = reading.receives(tunes)
    steps_mw = reading.power_steps()
    pit_power_mw = reading.pit_power()
    antenna = reading.antenna("antenna", ANTENNAS[0])
    rx_antenna = reading.antenna("rx_antenna", antenna)
    gain_dbi = reading.gain()
    usable_mhz = tuple(sorted(set(tunes.mhz) & set(receives.mhz))) if tunes and receives else ()
    if tunes and receives and not usable_mhz:
        problem = _(
            "%(whose)s's goggles cannot show any channel that %(whose)s's transmitter has", whose=whose
        )
        reading.fault("receives", problem, _("check both lists: at least one channel has to stand in both"))
    if reading.faults or tunes is None or receives is None:
        raise FieldsError(reading.faults)
    return VideoSetup(
        tunes,
        receives,
        usable_mhz,
        _labels(usable_mhz, tunes, receives),
        steps_mw,
        pit_power_mw,
        antenna,
        rx_antenna,
        gain_dbi,
        tuple(reading.assumed),
    )


def tunes_of(text: str) -> str:
    """The channel list that a preset's name stands for; any other text as it is."""
    return _TUNES_OF_PRESET.get(" ".join(text.casefold().split()), text)


def label_at(mhz: int, labels: Mapping[int, str]) -> str | None:
    """How a pilot names a carrier: the own first-listed label, else the catalogue's first, else None."""
    return labels.get(mhz) or next(iter(labels_at(mhz)), None)


def _labels(usable_mhz: tuple[int, ...], tunes: Tuning, receives: Tuning) -> dict[int, str]:
    own = {mhz: tunes.label_for[mhz] or receives.label_for[mhz] for mhz in usable_mhz}
    return {mhz: label for mhz, label in own.items() if label}


class _Reading:
    """Reads one field after another and keeps every fault."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self._typed = {name: (typed.get(name) or "").strip() for name in FIELDS}
        self.faults: list[FieldFault] = []
        self.assumed: list[tuple[str, str]] = []

    def fault(self, name: str, problem: str, cure: str, text: str | None = None) -> None:
        self.faults.append(FieldFault(name, self._typed[name] if text is None else text, problem, cure))

    def tunes(self) -> Tuning | None:
        if tunes_of(self._typed["tunes"]) == UNKNOWN:
            self.assumed.append(("tunes", ASSUMED_TUNES))
            return parse_tuning(ASSUMED_TUNES)
        return self._tuning("tunes")

    def receives(self, tunes: Tuning | None) -> Tuning | None:
        """Goggles that nobody asked about are taken to show what the transmitter has."""
        if self._typed["receives"] == UNKNOWN:
            self.assumed.append(("receives", _("as tunes")))
        return tunes if self._typed["receives"] in ("", UNKNOWN) else self._tuning("receives")

    def _tuning(self, name: str) -> Tuning | None:
        text = self._typed[name]
        try:
            return parse_tuning(tunes_of(text))
        except TuningError as error:
            self.fault(name, translated(error.problem), translated(error.cure), error.word)
            return None

    def power_steps(self) -> tuple[float, ...]:
        words = _POWER_UNIT.sub("", self._typed["power_mw"]).replace(",", " ").split()
        if UNKNOWN in words:
            words = [word for word in words if word != UNKNOWN]
            self.assumed.append(("power_mw", " ".join(words) or short_decimal(ASSUMED_POWER_MW)))
        steps_mw = {power_mw for word in words if (power_mw := self._power("power_mw", word)) is not None}
        return tuple(sorted(steps_mw)) or (ASSUMED_POWER_MW,)

    def pit_power(self) -> float | None:
        text = self._typed["pit_power_mw"]
        return self._power("pit_power_mw", plain_decimal(_POWER_UNIT.sub("", text))) if text else None

    def _power(self, name: str, word: str) -> float | None:
        match = _POWER.fullmatch(word)
        if match and LOWEST_POWER_MW <= float(match[1]) <= HIGHEST_POWER_MW:
            return float(match[1])
        cure = _(
            "write mW from %(lowest)s to %(highest)s with spaces between, or %(unknown)s",
            lowest=short_decimal(LOWEST_POWER_MW),
            highest=short_decimal(HIGHEST_POWER_MW),
            unknown=UNKNOWN,
        )
        self.fault(name, _("“%(word)s” is not a power in mW", word=shown(word)), cure, word)
        return None

    def antenna(self, name: str, default: str) -> str:
        text = self._typed[name]
        if text and text.lower() not in ANTENNAS:
            cure = _("write %(antennas)s or %(last)s", antennas=", ".join(ANTENNAS[:-1]), last=ANTENNAS[-1])
            self.fault(name, _("“%(text)s” is not an antenna", text=shown(text)), cure)
        return text.lower() or default

    def gain(self) -> float:
        text = self._typed["antenna_gain_dbi"] or "0"
        typed = plain_decimal(text)
        gain_dbi = float(typed) if _GAIN.fullmatch(typed) else math.nan
        if not LOWEST_GAIN_DBI <= gain_dbi <= HIGHEST_GAIN_DBI:
            cure = _(
                "write dBi from %(lowest)s to %(highest)s, such as %(example)s",
                lowest=typed_decimal(LOWEST_GAIN_DBI),
                highest=short_decimal(HIGHEST_GAIN_DBI),
                example=short_decimal(2.5),
            )
            self.fault("antenna_gain_dbi", _("“%(text)s” is not an antenna gain", text=shown(text)), cure)
        return gain_dbi
