"""The words of the papers in the language spoken, for the typst templates in `templates/paper`.

In such a template a sentence stands as `say("Heat %(number)s", number: heat.heat)`, or as
`say-count("%(number)s letter", "%(number)s letters", number)` where a number decides. `extract` finds them
for the catalogue; `spoken` is what a template is given to say them by.
"""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import IO, Any

from server import paths, wording

_TEXT = r'"((?:[^"\\]|\\.)*)"'
_SAID = re.compile(rf"\bsay(?P<counted>-count)?\(\s*{_TEXT}(?:\s*,\s*{_TEXT})?")
_NUMBERS = range(200)
"""Every language's plural goes by the last two digits of numbers from 100 on."""


def spoken() -> dict[str, Any]:
    """What typst needs beside the facts.

    lang     the language of the text, for screen readers and line breaks
    point    the decimal sign
    words    English to the language spoken, where they differ
    plurals  the English singular to its forms and, for each number below 200, which of them it takes
    """
    said = {message: wording.gettext(message) for message, many in _messages() if many is None}
    return {
        "lang": wording.language(),
        "point": wording.decimal_sign(),
        "words": {message: words for message, words in said.items() if words != message},
        "plurals": {one: _forms(one, many) for one, many in _messages() if many is not None},
    }


def extract(
    file: IO[bytes], keywords: object, comment_tags: object, options: object
) -> Iterator[tuple[int, str, str | tuple[str, str], list[str]]]:
    """The messages of a typst template as Babel wants them: line, function, message or both forms, comments."""
    source = file.read().decode("utf-8")
    for found in _SAID.finditer(source):
        line = source.count("\n", 0, found.start()) + 1
        if found["counted"]:
            yield line, "ngettext", (_unquoted(found[2]), _unquoted(found[3])), []
        else:
            yield line, "gettext", _unquoted(found[2]), []


@cache
def _messages() -> list[tuple[str, str | None]]:
    """Every message of the papers with its plural, None where it has none."""
    found: dict[str, str | None] = {}
    for file in sorted((paths.TEMPLATES / "paper").glob("*.typ")):
        with file.open("rb") as source:
            for _line, _function, message, _comments in extract(source, None, None, None):
                one, many = (message, None) if isinstance(message, str) else message
                found[one] = many
    return list(found.items())


def _forms(one: str, many: str) -> Mapping[str, list[Any]]:
    by_number = [wording.plural_form(one, many, number) for number in _NUMBERS]
    forms = sorted(set(by_number))
    return {"forms": forms, "of": [forms.index(words) for words in by_number]}


def _unquoted(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text)
