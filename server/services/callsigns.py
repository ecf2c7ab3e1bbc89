"""Callsigns: the names people fly under, as they are kept and compared."""

import re
import unicodedata
from collections.abc import Iterable, Mapping

from server.radio.channels import channel_named
from server.services.faults import FieldFault, FieldsError, nearest, shown
from server.wording import gettext as _

LONGEST = 24

_FORMULA_STARTS = ("=", "+", "-", "@")
# Invisible or direction-turning characters: two callsigns could look alike, or a line be shown backwards.
_DECEIVING = frozenset(
    map(chr, (0xAD, 0x200B, 0x2060, 0xFEFF, *range(0x202A, 0x202F), *range(0x2066, 0x206A)))
)

_LOOK_ALIKE = ("LATIN", "GREEK", "CYRILLIC")
"""Unicode Technical Standard 39, section 5.1: one script in a word, where letters of several could be confused."""
_LABEL = re.compile(r"([a-z])[\s._#-]*(\d)")
_NUMBER = re.compile(r"(?:ch(?:annel)?[\s.#]*)?\d+(?:[\s.:/-]*\d+)*\s*(?:mw|w|mhz|ghz)?")


def tidy(text: str) -> str:
    """Composed (NFC), trimmed, with single spaces."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def callsign_key(text: str) -> str:
    """What two spellings of one callsign have in common."""
    return unicodedata.normalize("NFC", tidy(text).casefold())


def read_callsign(text: str) -> str:
    """A callsign as it is kept. Raises FieldsError."""
    callsign = tidy(text)
    if fault := _fault(callsign):
        raise FieldsError([FieldFault("callsign", text, *fault)])
    return callsign


def misleading(text: str) -> FieldFault | None:
    """What is wrong with a new callsign that board and line would show like a channel, a figure or another one.

    Apart from `read_callsign`: who is on a roster under such a callsign stays there and can be edited.
    """
    read = unicodedata.normalize("NFKC", tidy(text)).casefold()
    cure = _("add a letter or a word to it, such as %(example)s", example=f"{''.join(text.split())}-Wren")
    if (label := _LABEL.fullmatch(read)) and _is_channel("".join(label.groups())):
        problem = _("%(callsign)s is a channel, and a callsign must not read like one", callsign=shown(text))
        return FieldFault("callsign", text, problem, cure)
    if _NUMBER.fullmatch(read):
        problem = _(
            "%(callsign)s reads like a frequency, a power or a number, not like a callsign",
            callsign=shown(text),
        )
        return FieldFault("callsign", text, problem, cure)
    if any(len(_alphabets(word)) > 1 for word in read.split()):
        problem = _("letters of several alphabets in one word: it could look like another callsign")
        return FieldFault("callsign", text, problem, _("write the word in one alphabet"))
    return None


def _alphabets(word: str) -> set[str]:
    """Those of the three whose letters look alike, which the word has letters of."""
    return {name for char in word for name in _LOOK_ALIKE if unicodedata.name(char, "").startswith(name)}


def _is_channel(label: str) -> bool:
    try:
        channel_named(label)
    except KeyError:
        return False
    return True


def _fault(callsign: str) -> tuple[str, str] | None:
    if not callsign:
        return _("a callsign is missing"), _(
            "write the name that is flown under, 1 to %(longest)s characters", longest=LONGEST
        )
    if len(callsign) > LONGEST:
        return _("a callsign of %(number)s characters is too long", number=len(callsign)), _(
            "shorten it to %(longest)s characters", longest=LONGEST
        )
    if callsign.startswith(_FORMULA_STARTS):
        return _("a callsign that starts like a spreadsheet formula"), _("start it with a letter or a figure")
    if any(not char.isprintable() or char in _DECEIVING for char in callsign):
        return _("a callsign with a character that cannot be seen"), _(
            "type it again with letters and figures"
        )
    if "," in callsign or ";" in callsign:
        return (
            _("a callsign with a comma or a semicolon"),
            _("leave it out: these stand between callsigns in a list"),
        )
    return None


def read_callsigns(field: str, text: str, known: Mapping[str, str], own: str) -> tuple[str, ...]:
    """The callsigns of a list, between commas, semicolons or spaces, as the roster spells them.

    known  callsign by key; a callsign may hold spaces, so the longest that fits is taken
    own    the pilot whose list this is, who cannot stand in it

    Raises FieldsError.
    """
    found: list[str] = []
    for piece in text.replace(";", ",").replace("\n", ",").split(","):
        words = piece.split()
        while words:
            taken = next(
                (
                    count
                    for count in range(len(words), 0, -1)
                    if callsign_key(" ".join(words[:count])) in known
                ),
                0,
            )
            if not taken:
                raise FieldsError([_unknown(field, words[0], known.values())])
            found.append(known[callsign_key(" ".join(words[:taken]))])
            words = words[taken:]
    if own in found:
        cure = _("list other pilots only")
        raise FieldsError(
            [FieldFault(field, text, _("%(own)s stands in a list of %(own)s's own", own=own), cure)]
        )
    return tuple(dict.fromkeys(found))


def _unknown(field: str, word: str, known: Iterable[str]) -> FieldFault:
    names = list(known)
    meant = nearest(word, names)
    cure = (
        _("write %(meant)s", meant=meant) if meant else _("write a callsign of the roster, or add that pilot")
    )
    return FieldFault(field, word, _("nobody in the roster has this callsign"), cure)
