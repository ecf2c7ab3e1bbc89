"""The desk's one line: who came and with what gear, typed by keyboard alone.

    Wren ABEFR 25,200,600 r

    callsign   first; two words stand in quotes: "Big Bird"
    channels   bands in one word or apart (ABEFR, A B F), R3, R1-R8, 5:3, 5800; all, ronly, elocked
    power      mW or W: 25,200,600 or 25/200 or 1W; a bare number above 5000 is a carrier in MHz
    antenna    rhcp, lhcp or linear anywhere; after the power a lone r, l or x is enough
    ?          nobody knows: the channels where none stand before it, else the power
    =Wren      the same gear as Wren, also = Wren; = alone: as the pilot before; what else is typed wins over it
    Wren       alone: somebody of the roster who has come to the desk
    rx:ABEF    goggles; the other fields likewise: spotter:Otter (or s:Otter), pin:R3, note:"leaves at three"

Nothing typed about the power means that nobody knows it, as `?` says.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from server.radio.errors import TuningError
from server.radio.tuning import tuning_words
from server.services.callsigns import tidy
from server.services.faults import FieldFault, shown
from server.services.gear import FIELDS as GEAR_FIELDS
from server.services.gear import UNKNOWN
from server.services.gear_words import (
    ANTENNA_LETTERS,
    ANTENNA_WORDS,
    PRESET_WORDS,
    channel_words,
    is_dont_know,
    is_glued_bands,
    join_units,
    milliwatts,
    power_words,
    spell_out,
)
from server.services.words_below import translated
from server.wording import gettext as _

LONGEST_LINE = 1000

KEYS: dict[str, str] = {
    **dict.fromkeys(("rx", "goggles", "receives"), "receives"),
    **dict.fromkeys(("s", "spotter"), "spotter"),
    **dict.fromkeys(("pit",), "pit_power_mw"),
    **dict.fromkeys(("id",), "station_id"),
    **{name: name for name in ("name", "note", "pin", "apart", "together", "after", "before", "heat")},
}
"""What may stand before a colon, and the field that it fills."""

EXAMPLE = "Wren ABEFR 25,200,600 r"

GEAR_WORDS = frozenset((*PRESET_WORDS, "one", UNKNOWN))
"""No callsign unless in quotes: whoever starts with one of these has left the callsign out."""

_QUOTES = {"“": '"', "”": '"', "„": '"', "«": '"', "»": '"'}
_WORD = re.compile(r'(?:[^\s"]|"[^"]*")+')
_KEY = re.compile(r"([a-z]+):(.+)", re.IGNORECASE | re.DOTALL)

GearOf = Callable[[str], Mapping[str, str] | None]
"""The gear of the pilot with a callsign, as text by field; None where the roster has no such pilot."""


@dataclass(frozen=True)
class DeskLine:
    """What a line says: text by field for the roster, and every word that means nothing."""

    typed: Mapping[str, str]
    faults: tuple[FieldFault, ...] = ()
    is_callsign_alone: bool = False


def read_line(text: str, gear_of: GearOf, latest: str | None = None) -> DeskLine:
    """The fields that a line fills.

    latest  the callsign that a lone `=` means: who was added last
    """
    if len(text) > LONGEST_LINE:
        problem = _("a line of %(number)s characters is too long", number=len(text))
        cure = _("shorten it to %(number)s", number=LONGEST_LINE)
        return DeskLine({}, (FieldFault("line", text, problem, cure),))
    words = _words(text)
    if not words:
        cure = _("write a line such as %(example)s", example=EXAMPLE)
        return DeskLine({}, (FieldFault("line", "", _("nothing is typed"), cure),))
    if words[0].casefold() in GEAR_WORDS or words[0].startswith("="):
        problem = _("“%(word)s” is a word for gear", word=shown(words[0]))
        cure = _("write the callsign before it, such as %(example)s", example=EXAMPLE)
        return DeskLine({}, (FieldFault("line", words[0], problem, cure),))
    reading = _Reading(gear_of, latest, _unquoted(words[0]))
    for word in _with_names_joined(words[1:], gear_of):
        reading.word(word)
    typed = {"callsign": tidy(_unquoted(words[0])), **reading.fields()}
    if not typed.get("tunes") and not reading.faults:
        cure = _("write them before the power, or %(unknown)s where nobody knows", unknown=UNKNOWN)
        reading.fault("", _("the channels are missing"), cure)
    return DeskLine(typed, tuple(reading.faults), len(words) == 1)


def _words(text: str) -> list[str]:
    plain = join_units("".join(_QUOTES.get(char, char) for char in text))
    words = _WORD.findall(plain + '"' * (plain.count('"') % 2))  # a quote still open ends with the line
    if words and not words[0].startswith('"'):
        callsign, _, rest = words[0].partition(",")
        words[:1] = [callsign, *([rest] if rest else [])]
    return [word for word in words if word.strip('," ')]


def _with_names_joined(words: list[str], gear_of: GearOf) -> list[str]:
    """`= Wren` as `=Wren`; a word that is gear stays what it is, whoever else is called so."""
    joined: list[str] = []
    for word in words:
        if joined[-1:] == ["="] and gear_of(_unquoted(word)) is not None and not _is_gear(word, gear_of):
            joined[-1] = f"={word}"
        else:
            joined.append(word)
    return joined


def _is_gear(word: str, gear_of: GearOf) -> bool:
    alone = _Reading(gear_of, None)
    alone.word(word)
    return not alone.faults


def _unquoted(word: str) -> str:
    return word.replace('"', "").strip(",")


@dataclass
class _Reading:
    """Takes one word after another; what a word means can depend on the words before it."""

    gear_of: GearOf
    latest: str | None
    callsign: str = ""
    copied: dict[str, str] = field(default_factory=dict)
    own: dict[str, str] = field(default_factory=dict)
    channels: list[str] = field(default_factory=list)
    powers: list[str] = field(default_factory=list)
    faults: list[FieldFault] = field(default_factory=list)

    def fields(self) -> dict[str, str]:
        if self.channels:
            self.own["tunes"] = spell_out(self.channels)
        if self.powers:
            self.own["power_mw"] = " ".join(self.powers)
        return {"power_mw": UNKNOWN, **self.copied, **self.own}

    def is_first(self) -> bool:
        """Whether nothing but the callsign has been read."""
        return not (self.copied or self.own or self.channels or self.powers or self.faults)

    def fault(self, word: str, problem: str, cure: str) -> None:
        self.faults.append(FieldFault("line", word, problem, cure))

    def word(self, word: str) -> None:
        keyed = _KEY.fullmatch(word)
        if word.startswith("="):
            self._same_as(_unquoted(word[1:]))
        elif keyed and keyed[1].casefold() in KEYS:
            self._keyed(KEYS[keyed[1].casefold()], _unquoted(keyed[2]))
        elif keyed:
            names = ", ".join(name for name in KEYS if len(name) > 1)
            self.fault(
                word,
                _("“%(word)s” names no field", word=shown(word)),
                _("before a colon stand %(names)s", names=names),
            )
        else:
            for piece in re.split(r"[,;]", word):
                if piece:
                    self._gear_word(piece)

    def _same_as(self, named: str) -> None:
        callsign = named or self.latest or ""
        gear = self.gear_of(callsign) if callsign else None
        if gear is None:
            problem = (
                _("nobody on the roster is called %(callsign)s", callsign=shown(callsign))
                if callsign
                else _("nobody came before")
            )
            self.fault(f"={named}", problem, _("write = and a callsign of the roster, or the gear itself"))
            return
        self.copied = {name: gear.get(name, "") for name in GEAR_FIELDS}

    def _keyed(self, name: str, text: str) -> None:
        if name == "receives":
            text = channel_words(text)
        self.own[name] = power_words(text) if name == "pit_power_mw" else text

    def _gear_word(self, word: str) -> None:
        plain = word.casefold()
        if is_dont_know(plain):
            (self.powers if self.channels or "tunes" in self.copied else self.channels).append(UNKNOWN)
        elif self.powers and plain in ANTENNA_LETTERS:
            self.own["antenna"] = ANTENNA_LETTERS[plain]
        elif plain in ANTENNA_WORDS:
            self.own["antenna"] = ANTENNA_WORDS[plain]
        elif plain in PRESET_WORDS or is_glued_bands(word):
            self.channels.append(word)
        elif all(steps := [milliwatts(step) for step in word.split("/")]):
            self.powers.extend(step for step in steps if step)
        elif plain != "one":  # "one R3": a fixed set, which its channel says already
            self._channel(word)

    def _channel(self, word: str) -> None:
        try:
            tuning_words(word)
        except TuningError as error:
            cure = translated(error.cure)
            if word.isalpha() and len(word) > 2 and self.is_first():
                whole = f"{self.callsign} {word}"
                cure = _(
                    'if the callsign is %(whole)s, write "%(whole)s" in quotes; if not, %(cure)s',
                    whole=shown(whole),
                    cure=cure,
                )
            self.fault(word, translated(error.problem), cure)
        else:
            self.channels.append(word)
