"""Gear in people's own words, turned into the text that a video set-up keeps.

People write ABEFR for A B E F R, 25/200/600, 1W, "right". Whatever is not known here is passed on as it is, so
that the reader of the set-up can say what is wrong with it.
"""

import re

from server.radio.channels import BANDS
from server.services.gear import UNKNOWN, tunes_of
from server.wording import marked

ALL_BANDS = "A B E F R"
E_LOCKED = ("E1-E3", "E5", "E6")
"""Common practice, no source: some sets of band E are locked to these."""

PRESET_WORDS: dict[str, str] = {"all": ALL_BANDS, "ronly": "R", "elocked": " ".join(E_LOCKED)}
"""Words that stand for a channel list; `elocked` beside other bands takes their band E away."""

DONT_KNOW = frozenset(("?", "dont know", "do not know", "not known", "unknown", "not sure", "no idea"))

ANTENNA_WORDS: dict[str, str] = {
    **dict.fromkeys(("rhcp", "rh", "right", "right-hand", "righthand", "right hand"), "rhcp"),
    **dict.fromkeys(("lhcp", "lh", "left", "left-hand", "lefthand", "left hand"), "lhcp"),
    **dict.fromkeys(("linear", "lin", "straight", "dipole", "wire"), "linear"),
}
ANTENNA_LETTERS: dict[str, str] = {"r": "rhcp", "l": "lhcp", "x": "linear"}
"""Only where no band can be meant."""

ANTENNA_NAMES: dict[str, str] = {
    "rhcp": marked("right-hand"),
    "lhcp": marked("left-hand"),
    "linear": marked("linear"),
}

_PHRASES = {"all bands": "all", "all channels": "all", "r only": "ronly", "e locked": "elocked"}
_CHANNEL_WORD = re.compile(r"[a-z]?[0-9:]*([-\u2013][a-z]?[0-9]+)?(mhz)?", re.IGNORECASE)
_POWER = re.compile(r"([0-9]*[.]?[0-9]+)(mw|w)?", re.IGNORECASE)
_SPACED_UNIT = re.compile(r"(?<=[0-9])\s+(mw|w|mhz)\b", re.IGNORECASE)
_SEPARATORS = re.compile(r"[\s,;/+]+")

MOST_POWER_MW = 5000
"""From here on a bare number is a carrier in MHz."""


def join_units(text: str) -> str:
    """“25 mW” with its unit in one word, so that lists can be split at spaces."""
    return _SPACED_UNIT.sub(r"\1", text)


def is_dont_know(text: str) -> bool:
    plain = " ".join(text.casefold().replace("'", "").replace("\u2019", "").split())
    return plain in DONT_KNOW


def channel_words(text: str) -> str:
    """A channel list as a set-up keeps it: presets spelled out, bands apart, “don't know” as `?`."""
    if is_dont_know(text):
        return UNKNOWN
    plain = join_units(tunes_of(text))
    for phrase, word in _PHRASES.items():
        plain = re.sub(rf"\b{phrase}\b", word, plain, flags=re.IGNORECASE)
    return spell_out([word for word in re.split(r"[\s,;]+", plain) if word])


def spell_out(words: list[str]) -> str:
    """Channel words in one list, each as long as the table writes it."""
    spelled = [piece for word in words for piece in _spelled(word)]
    if "elocked" in (word.casefold() for word in words):
        spelled = [piece for piece in spelled if piece != "E"]
    return " ".join(dict.fromkeys(spelled))


def _spelled(word: str) -> list[str]:
    if listed := PRESET_WORDS.get(word.casefold()):
        return listed.split()
    if is_glued_bands(word):
        return list(word.upper())
    return [word.upper().removesuffix("MHZ")] if _CHANNEL_WORD.fullmatch(word) else [word]


def is_glued_bands(word: str) -> bool:
    """ABEFR: two letters or more, all of them bands, none twice."""
    letters = word.upper()
    return len(letters) > 1 and set(letters) <= set(BANDS) and len(set(letters)) == len(letters)


def power_words(text: str) -> str:
    """Power steps as a set-up keeps them: figures in mW with spaces between, “don't know” as `?`."""
    if is_dont_know(text):
        return UNKNOWN
    words = [word for word in _SEPARATORS.split(join_units(text)) if word]
    return " ".join(milliwatts(word) or word for word in words)


def milliwatts(word: str) -> str | None:
    """“25”, “25mW” and “0.6W” in mW; None for anything that is no power."""
    match = _POWER.fullmatch(word)
    if not match:
        return None
    unit = (match[2] or "").casefold()
    if unit == "w":
        return f"{float(match[1]) * 1000:g}"
    return match[1] if unit or float(match[1]) <= MOST_POWER_MW else None


def antenna_word(text: str) -> str:
    """The antenna that a word means; other text as it is."""
    plain = " ".join(text.casefold().split())
    return ANTENNA_WORDS.get(plain) or ANTENNA_LETTERS.get(plain) or text
