"""What was understood of a video set-up, in few words: under the desk's line, on a phone, in the roster."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.radio.channels import BANDS, labels_at
from server.radio.tuning import TuningWord, parse_tuning, tuning_words
from server.services.gear import ASSUMED_POWER_MW, ASSUMED_TUNES, UNKNOWN, tunes_of
from server.services.gear_words import ANTENNA_NAMES
from server.wording import gettext as _
from server.wording import ngettext, short_decimal

WORDS_SPELLED_OUT = 4


@dataclass(frozen=True)
class Meaning:
    """One part of a set-up; `is_assumed` where nobody knew and something is taken for it."""

    words: str
    is_assumed: bool = False


def channels_meaning(tunes: str) -> Meaning:
    """What a channel list means. Raises TuningError."""
    if tunes_of(tunes) == UNKNOWN:
        return Meaning(_("channels not known: %(channels)s taken", channels=ASSUMED_TUNES), is_assumed=True)
    words = tuning_words(tunes_of(tunes))
    bands = [word for word in words if word.text.upper() in BANDS]
    others = [word for word in words if word not in bands]
    parts = [_band_words(bands), *(_carrier_words(word) for word in others[:WORDS_SPELLED_OUT])]
    if len(others) > WORDS_SPELLED_OUT:
        carriers_mhz = parse_tuning(" ".join(word.text for word in others)).mhz
        parts[1:] = [
            _(
                "%(number)s channels from %(low)s to %(high)s MHz",
                number=len(carriers_mhz),
                low=carriers_mhz[0],
                high=carriers_mhz[-1],
            )
        ]
    return Meaning("; ".join(part for part in parts if part))


def power_meaning(power_mw: str) -> Meaning:
    steps = [word for word in power_mw.split() if word != UNKNOWN]
    power = ", ".join(steps) or short_decimal(ASSUMED_POWER_MW)
    if UNKNOWN in power_mw:
        return Meaning(_("power not known: %(power)s mW taken", power=power), is_assumed=True)
    return Meaning(_("%(power)s mW", power=power))


def antenna_meaning(antenna: str, rx_antenna: str = "") -> Meaning:
    name = _(ANTENNA_NAMES.get(antenna or "rhcp", antenna))
    if rx_antenna and rx_antenna != (antenna or "rhcp"):
        goggles = _(ANTENNA_NAMES.get(rx_antenna, rx_antenna))
        return Meaning(_("%(antenna)s antenna, goggles %(goggles)s", antenna=name, goggles=goggles))
    return Meaning(_("%(antenna)s antenna", antenna=name))


def gear_meanings(typed: Mapping[str, str]) -> tuple[Meaning, ...]:
    """Channels, goggles where they differ, power, antennas. Raises TuningError."""
    receives = typed.get("receives", "")
    goggles = (
        []
        if receives in ("", UNKNOWN)
        else [Meaning(_("goggles %(channels)s", channels=channels_meaning(receives).words))]
    )
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
    return ngettext(
        "band %(letters)s, %(count)s channels",
        "bands %(letters)s, %(count)s channels",
        len(bands),
        letters=letters,
        count=count,
    )


def _carrier_words(word: TuningWord) -> str:
    if len(word.carriers) > 1:
        carriers_mhz = [carrier[0] for carrier in word.carriers]
        low, high = min(carriers_mhz), max(carriers_mhz)
        return _("%(text)s, %(low)s to %(high)s MHz", text=word.text.upper(), low=low, high=high)
    mhz, label = word.carriers[0]
    if ":" in word.text:
        return _("%(label)s %(mhz)s MHz on push-button gear %(text)s", label=label, mhz=mhz, text=word.text)
    if label:
        return f"{label} {mhz} MHz"
    labels = _(" or ").join(labels_at(mhz))
    if not labels:
        return _("%(mhz)s MHz, in no table", mhz=mhz)
    return _("%(mhz)s MHz, which is %(labels)s", mhz=mhz, labels=labels)
