"""What the columns of a sign-up form mean: a first guess from their names, which people correct on the screen."""

import re
from collections.abc import Sequence

from server.radio.errors import TuningError
from server.radio.tuning import parse_tuning
from server.services.csv_files import Table, column_key
from server.services.gear_words import channel_words, is_dont_know, milliwatts, power_words
from server.services.roster import COLUMNS
from server.wording import gettext as _
from server.wording import marked

FIELDS: dict[str, str] = {
    "callsign": marked("Callsign"),
    "tunes": marked("Tunes"),
    "receives": marked("Goggles receive"),
    "power_mw": marked("Power, mW"),
    "antenna": marked("Antenna"),
    "rx_antenna": marked("Goggles' antenna"),
    "antenna_gain_dbi": marked("Gain, dBi"),
    "pit_power_mw": marked("Pit power, mW"),
    "name": marked("Name"),
    "station_id": marked("Licence call sign"),
    "adult_present": marked("Adult present"),
    "spotter": marked("Spotter"),
    "note": marked("Note"),
    "pin": marked("Pinned to"),
    "apart": marked("Apart from"),
    "together": marked("Together with"),
    "after": marked("Only after heat"),
    "before": marked("Only before heat"),
    "heat": marked("In heat"),
}
"""Every field that a column can fill, in the words of the screen."""

_NAMES: dict[str, tuple[str, ...]] = {
    "callsign": ("callsign", "pilot", "nickname", "nick", "handle", "pilot callsign", "pilot name", "fly as"),
    "tunes": (
        "tunes",
        "channels",
        "bands",
        "channel",
        "band",
        "frequencies",
        "video channels",
        "vtx",
        "transmitter",
    ),
    "receives": ("receives", "goggles", "goggle", "receiver", "rx"),
    "power_mw": ("power", "powers", "mw", "output", "power levels", "power steps"),
    "antenna": ("antenna", "polarisation", "polarization", "antenna polarisation"),
    "rx_antenna": ("receiving antenna", "goggles antenna", "goggle antenna"),
    "antenna_gain_dbi": ("antenna gain", "gain"),
    "pit_power_mw": ("pit power", "pit mode", "pit"),
    "name": ("name", "full name", "real name", "your name", "first name"),
    "station_id": ("station", "licence", "license", "call sign", "radio licence", "ham"),
    "adult_present": ("adult", "adult present", "guardian", "parent"),
    "spotter": ("spotter", "observer"),
    "note": ("note", "notes", "comment", "comments", "remark", "remarks", "anything else"),
    "pin": ("pinned", "fixed channel"),
}
"""Words that people write above such a column."""

KNOWN_KEYS: tuple[str, ...] = tuple(
    {*COLUMNS, *(column_key(name) for names in _NAMES.values() for name in names)}
)

_LETTERS = re.compile(r"[^\W\d_]+")


def guess(columns: Sequence[str]) -> tuple[str, ...]:
    """The field of each column, empty where none is likely; each field once, the surest first."""
    scores = sorted(
        (
            (-_score(name, field), at, field)
            for at, name in enumerate(columns)
            for field in FIELDS
            if _score(name, field)
        ),
    )
    meaning = [""] * len(columns)
    for at, field in (scored[1:] for scored in scores):
        if not meaning[at] and field not in meaning:
            meaning[at] = field
    return tuple(meaning)


def has_header(table: Table) -> bool:
    """Whether the first row names columns: it does unless no name is known and some cell reads as gear."""
    return any(guess(table.columns)) or not any(_is_gear(cell) for cell in table.columns)


def without_header(table: Table) -> Table:
    """The same with the first row as a pilot and columns that go by number."""
    width = max((len(row[1]) for row in table.rows), default=0)
    names = tuple(
        _("column %(number)s", number=number) for number in range(1, max(width, len(table.columns)) + 1)
    )
    return Table(table.file, names, ((1, table.columns), *table.rows))


def guess_from_cells(table: Table) -> tuple[str, ...]:
    """The fields of columns without names: the first is the callsign, gear is known by what it says."""
    meaning = [""] * len(table.columns)
    for at in range(len(table.columns)):
        cells = [cells[at] for _, cells in table.rows if at < len(cells) and cells[at]]
        field = "callsign" if at == 0 else _field_of(cells)
        if field not in meaning:
            meaning[at] = field
    return tuple(meaning)


def _score(name: str, field: str) -> int:
    """How surely a column of this name is that field: 3 by its own name, 2 by a known one, 1 by a part of it."""
    key = column_key(name)
    if key == field:
        return 3
    known = _NAMES.get(field, ())
    if key in (column_key(one) for one in known):
        return 2
    words = set(_LETTERS.findall(key.replace("_", " ")))
    return int(any(set(one.split()) <= words for one in known))


def _field_of(cells: Sequence[str]) -> str:
    if cells and all(_is_power(cell) for cell in cells):
        return "power_mw"
    if cells and all(_is_channels(cell) for cell in cells):
        return "tunes"
    return ""


def _is_gear(cell: str) -> bool:
    return _is_power(cell) or _is_channels(cell)


def _is_power(cell: str) -> bool:
    words = power_words(cell).split()
    return bool(words) and all(milliwatts(word) for word in words)


def _is_channels(cell: str) -> bool:
    if is_dont_know(cell):
        return True
    try:
        parse_tuning(channel_words(cell))
    except TuningError:
        return False
    return True
