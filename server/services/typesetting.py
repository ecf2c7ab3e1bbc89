"""Setting a document by typst: as a PDF, as pictures of its pages, and what no font here can draw.

The documents are typst templates in `templates/paper`. Every fact reaches them as JSON and is set as text,
never read as markup, so that nothing typed can change a document; their words come beside it (`paper_words.py`).
A letter that no font at hand can draw is not left to chance: it becomes MISSING_LETTER, a box to write in, which
the templates count beside a name and explain at the foot of the page.
"""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from types import ModuleType
from typing import Any, Literal

from server import paths
from server.services import paper_words

Paper = Literal["a4", "letter"]

MISSING_LETTER = "\N{WHITE SQUARE}"

_FOLDER = paths.TEMPLATES / "paper"
_NOBODYS = chr(0x10FFFF)  # no character, and none will ever be: no font draws it
_GLYPH = re.compile(rb'xlink:href="#(\w+)"')


@dataclass(frozen=True)
class Document:
    """A template with its facts. `at` is the moment that the file bears, so that the same plan always gives
    the same file.
    """

    template: str
    facts: Mapping[str, Any]
    at: datetime | None = None


def as_pdf(document: Document, paper: Paper) -> bytes:
    made = _typst().compile(
        **_asked(document, paper),
        format="pdf",
        timestamp=int(document.at.timestamp()) if document.at else None,
    )
    assert isinstance(made, bytes)
    return made


def first_page_png(document: Document, paper: Paper, ppi: float) -> bytes:
    made = _typst().compile(**_asked(document, paper), format="png", ppi=ppi)
    return made[0] if isinstance(made, list) else made


def page_count(document: Document, paper: Paper) -> int:
    asked = _asked(document, paper)
    return int(json.loads(_typst().query(asked.pop("input"), "<pages>", field="value", one=True, **asked)))


def letters_missing(texts: Iterable[str]) -> frozenset[str]:
    """The characters of these texts that no font at hand can draw."""
    seen = "".join(sorted({letter for text in texts for letter in text if not letter.isascii()}))
    return _without_glyph(seen) if seen else frozenset()


def _asked(document: Document, paper: Paper) -> dict[str, Any]:
    missing = letters_missing([json.dumps(document.facts, ensure_ascii=False)])
    facts = {**document.facts, "paper": paper, "has_boxes": bool(missing)}
    boxes = str.maketrans(dict.fromkeys(missing, MISSING_LETTER))
    return {
        "input": str(_FOLDER / document.template),
        "root": str(_FOLDER),
        "font_paths": _fonts(),
        "sys_inputs": {
            "data": json.dumps(facts, allow_nan=False, ensure_ascii=False).translate(boxes),
            "spoken": json.dumps(paper_words.spoken(), ensure_ascii=False),
        },
    }


@cache
def _without_glyph(letters: str) -> frozenset[str]:
    """Each letter is set on a page of its own, and one that looks like no character at all is missing.

    The fonts inside typst cannot be opened from here, so what they hold is found by asking.
    """
    pages = _typst().compile(
        str(_FOLDER / "letters.typ"),
        root=str(_FOLDER),
        font_paths=_fonts(),
        sys_inputs={"data": json.dumps([_NOBODYS, *letters])},
        format="svg",
    )
    assert isinstance(pages, list)
    unknown, *drawn = (_GLYPH.findall(page)[:1] for page in pages)
    return frozenset(letter for letter, glyph in zip(letters, drawn, strict=True) if glyph == unknown)


@cache
def _fonts() -> Any:
    """Ours, those that come with typst, and the system's for letters that neither has; looked up once."""
    return _typst().Fonts(include_system_fonts=True, font_paths=[str(paths.STATIC / "fonts")])


def _typst() -> ModuleType:
    """Loaded with the first document: 7 MB that a server of which nothing is printed can spare."""
    import typst

    return typst
