"""What was understood of a video set-up, in few words: under the desk's line, on a phone, in the roster."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.radio.channels import BANDS, labels_at
from server.radio.tuning import TuningWord, parse_tuning, tuning_words
from server.services.gear import ASSUMED_POWER_MW, ASSUMED_TUNES, UNKNOWN, tunes_of
from server.services.gear_words import ANTENNA_NAMES

WORDS_SPELLED_OUT = 4


@dataclass(frozen=True)
class Meaning:
    """One part of a set-up; `is_assumed` where nobody knew and something is taken for it."""

    words: str
    is_assumed: bool = False


def channels_meaning(tunes: str) -> Meaning:
    """What a channel list means. Raises TuningError."""
    if tunes_of(tunes) == UNKNOWN:
        return Meaning(f"channels not known: {ASSUMED_TUNES} taken", is_assumed=True)
    words = tuning_words(tunes_of(tunes))
    bands = [word for word in words if word.text.upper() in BANDS]
    others = [word for word in words if word not in bands]
    parts = [_band_words(bands), *(_carrier_words(word) for word in others[:WORDS_SPELLED_OUT])]
    if len(others) > WORDS_SPELLED_OUT:
        carriers_mhz = parse_tuning(" ".join(word.text for word in others)).mhz
        parts[1:] = [f"{len(carriers_mhz)} channels from {carriers_mhz[0]} to {carriers_mhz[-1]} MHz"]
    return Meaning("; ".join(part for part in parts if part))


def power_meaning(power_mw: str) -> Meaning:
    steps = [word for word in power_mw.split() if word != UNKNOWN]
    if steps:
        return Meaning(f"{', '.join(steps)} mW", is_assumed=UNKNOWN in power_mw)
    if UNKNOWN in power_mw:
        return Meaning(f"power not known: {ASSUMED_POWER_MW:g} mW taken", is_assumed=True)
    return Meaning(f"{ASSUMED_POWER_MW:g} mW")


def antenna_meaning(antenna: str, rx_antenna: str = "") -> Meaning:
    words = f"{ANTENNA_NAMES.get(antenna or 'rhcp', antenna)} antenna"
    if rx_antenna and rx_antenna != (antenna or "rhcp"):
        words += f", goggles {ANTENNA_NAMES.get(rx_antenna, rx_antenna)}"
    return Meaning(words)


def gear_meanings(typed: Mapping[str, str]) -> tuple[Meaning, ...]:
    """Channels, goggles where they differ, power, antennas. Raises TuningError."""
    receives = typed.get("receives", "")
    goggles = [] if receives in ("", UNKNOWN) else [Meaning(f"goggles {channels_meaning(receives).words}")]
    return (
        channels_meaning(typed.get("tunes", "")),
        *goggles,
        power_meaning(typed.get("power_mw", "")),
        antenna_meaning(typed.get("antenna", ""), typed.get("rx_antenna", "")),
    )


def _band_words(bands: list[TuningWord]) -> str:
    if not bands:
        return ""
    letters = " ".join(word.text.upper() for word in bands)
    count = sum(len(word.carriers) for word in bands)
    return f"{'band' if len(bands) == 1 else 'bands'} {letters}, {count} channels"


def _carrier_words(word: TuningWord) -> str:
    if len(word.carriers) > 1:
        carriers_mhz = [mhz for mhz, _ in word.carriers]
        return f"{word.text.upper()}, {min(carriers_mhz)} to {max(carriers_mhz)} MHz"
    mhz, label = word.carriers[0]
    if ":" in word.text:
        return f"{label} {mhz} MHz on push-button gear {word.text}"
    if label:
        return f"{label} {mhz} MHz"
    named = " or ".join(labels_at(mhz))
    return f"{mhz} MHz, which is {named}" if named else f"{mhz} MHz, in no table"
