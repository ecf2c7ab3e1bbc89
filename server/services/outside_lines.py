"""What else is on the air, from a line of words: "5745 20 -70 camera van", "R3 weak", "wifi 149 80 strong".

A line has, in this order or any: a centre in MHz, a channel or a Wi-Fi channel; a width in MHz; a level in dBm or
in words. From the first word on that is none of these it is a note.
"""

import re
from dataclasses import dataclass

from server.radio.channels import channel_named
from server.radio.errors import SiteError
from server.radio.outside import (
    STRONGEST_DBM,
    WEAKEST_DBM,
    WIDEST_MHZ,
    WIFI_WIDTH_MHZ,
    OutsideSignal,
    wifi_block,
)
from server.radio.tuning import HIGHEST_MHZ, LOWEST_MHZ
from server.services.faults import shown
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import marked, short_decimal, typed_decimal

LEVELS_DBM = {marked("weak"): -85.0, marked("middling"): -70.0, marked("strong"): -50.0}
"""Levels in words: just seen on an empty channel; like an aircraft at the far end of a club field; like one close
by. Common practice, no source; the model's 25 mW arrive with -70 dBm from 80 m and with -50 dBm from 8 m."""

USUAL_WIDTH_MHZ = 10.0
"""Of a signal of which nobody knows more: what an analogue picture occupies."""

LONGEST_NOTE = 80
EXAMPLES = "5745 20 -70 camera van, or R3 weak, or wifi 149"

_MINUS = str.maketrans({"\N{MINUS SIGN}": "-", "\N{EN DASH}": "-", ",": " "})
_NUMBER = re.compile(r"[0-9]{1,4}(?:[.][0-9]{1,2})?")
_LEVEL = re.compile(r"-[0-9]{1,3}(?:[.][0-9])?")
_LABEL = re.compile(r"[A-Za-z][1-8]")
_WIFI = frozenset({"wifi", "wi-fi", "wlan"})


@dataclass(frozen=True)
class OutsideLine:
    """One signal as it was typed; `channel` is its Wi-Fi channel, None for anything else."""

    centre_mhz: float
    width_mhz: float
    level_dbm: float
    note: str = ""

    @property
    def signal(self) -> OutsideSignal:
        return OutsideSignal(self.centre_mhz, self.width_mhz, self.level_dbm)


class OutsideLineError(ValueError):
    """A line that names no signal: what is wrong, and what would be right."""

    def __init__(self, problem: str, cure: str) -> None:
        super().__init__(f"{problem}: {cure}")
        self.problem = problem
        self.cure = cure


def read_line(text: str) -> OutsideLine:
    """The signal that a line means. Raises OutsideLineError."""
    words = text.translate(_MINUS).split()
    if not words:
        raise OutsideLineError(_("No signal is named"), _("write %(examples)s", examples=EXAMPLES))
    is_wifi = words[0].casefold() in _WIFI
    centre_mhz, channel, rest = _wifi(words) if is_wifi else _centre(words)
    width_mhz: float | None = None
    level_dbm: float | None = None
    while rest:
        word = rest[0].casefold().removesuffix("dbm").removesuffix("mhz")
        if level_dbm is None and (word in LEVELS_DBM or _LEVEL.fullmatch(word)):
            level_dbm = LEVELS_DBM[word] if word in LEVELS_DBM else float(word)
        elif width_mhz is None and _NUMBER.fullmatch(word):
            width_mhz = float(word)
        elif word:
            break
        rest = rest[1:]
    if channel is not None:
        centre_mhz, width_mhz = _block(channel, width_mhz or WIFI_WIDTH_MHZ)
    note = " ".join(rest)
    if channel is not None:
        block = _("Wi-Fi channel %(channel)s", channel=channel)
        note = f"{block}: {note}" if note else block
    line = OutsideLine(
        centre_mhz,
        USUAL_WIDTH_MHZ if width_mhz is None else width_mhz,
        LEVELS_DBM["middling"] if level_dbm is None else level_dbm,
        note,
    )
    _check(line)
    return line


def level_words(level_dbm: float) -> str:
    """A level for people: "middling" and its dBm, with a true minus."""
    figure = f"{short_decimal(level_dbm)} dBm"
    word = next((word for word, level in LEVELS_DBM.items() if level == level_dbm), "")
    return f"{_(word)}, {figure}" if word else figure


def block_words(centre_mhz: float, width_mhz: float) -> str:
    """ "5745 MHz, 20 MHz wide"."""
    centre = short_decimal(centre_mhz)
    if not width_mhz:
        return _("%(centre)s MHz, a carrier", centre=centre)
    return _("%(centre)s MHz, %(width)s MHz wide", centre=centre, width=short_decimal(width_mhz))


def _wifi(words: list[str]) -> tuple[float, int | None, list[str]]:
    rest = words[2:] if len(words) > 2 and words[1].casefold() == "channel" else words[1:]
    if not rest or not (rest[0].isascii() and rest[0].isdigit() and len(rest[0]) < 4):
        raise OutsideLineError(
            _("Wi-Fi needs the number of its channel"), _("write it after the word: wifi 149")
        )
    return 0.0, int(rest[0]), rest[1:]


def _centre(words: list[str]) -> tuple[float, int | None, list[str]]:
    word = words[0].casefold().removesuffix("mhz")
    rest = words[2:] if len(words) > 1 and words[1].casefold() == "mhz" else words[1:]
    if _NUMBER.fullmatch(word):
        return float(word), None, rest
    if _LABEL.fullmatch(word):
        try:
            return float(channel_named(word).mhz), None, rest
        except KeyError:
            pass
    raise OutsideLineError(
        _("“%(word)s” is no frequency, channel or Wi-Fi channel", word=shown(words[0])),
        _("begin with one: %(examples)s", examples=EXAMPLES),
    )


def _block(channel: int, width_mhz: float) -> tuple[float, float]:
    try:
        return wifi_block(channel, int(width_mhz))
    except SiteError as error:
        problem = (
            _("There is no Wi-Fi channel %(channel)s", channel=channel)
            if error.name == "wifi"
            else _("There is no Wi-Fi %(width)s MHz wide", width=short_decimal(width_mhz))
        )
        raise OutsideLineError(problem, translated(error.cure)) from None


def _check(line: OutsideLine) -> None:
    if not 0 <= line.width_mhz <= WIDEST_MHZ:
        raise OutsideLineError(
            _("A width of %(width)s MHz is not understood", width=typed_decimal(line.width_mhz)),
            _("write 0 to %(widest)s MHz", widest=WIDEST_MHZ),
        )
    if not WEAKEST_DBM <= line.level_dbm <= STRONGEST_DBM:
        raise OutsideLineError(
            _("A level of %(level)s dBm is not understood", level=typed_decimal(line.level_dbm)),
            _(
                "write %(weakest)s to %(strongest)s dBm, or weak, middling or strong",
                weakest=typed_decimal(WEAKEST_DBM),
                strongest=typed_decimal(STRONGEST_DBM),
            ),
        )
    if len(line.note) > LONGEST_NOTE:
        raise OutsideLineError(
            _("The note is too long"), _("use at most %(longest)s characters", longest=LONGEST_NOTE)
        )
    reach_mhz = line.width_mhz / 2
    if not LOWEST_MHZ - reach_mhz <= line.centre_mhz <= HIGHEST_MHZ + reach_mhz:
        raise OutsideLineError(
            _("%(centre)s MHz is clear of the video channels", centre=typed_decimal(line.centre_mhz)),
            _(
                "nothing need be noted outside %(lowest)s to %(highest)s MHz",
                lowest=LOWEST_MHZ,
                highest=HIGHEST_MHZ,
            ),
        )
