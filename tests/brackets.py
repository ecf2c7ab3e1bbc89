"""A language in which every message stands in ⟦brackets⟧, and what of a page stands outside them."""

import re
from gettext import NullTranslations
from html.parser import HTMLParser

READ = ("title", "aria-label", "aria-valuetext", "placeholder", "alt", "data-label")
NOT_READ = ("script", "style", "code", "pre", "kbd", "textarea")
WORD = re.compile(r"[^\W\d_]{2,}")
NO_WORD = re.compile(r"https?://\S+|\S*/(?:join|board|slot)/\S*|\w+…")
"""Addresses, and names cut where there is no room."""


class Brackets(NullTranslations):
    def gettext(self, message: str) -> str:
        return f"⟦{message}⟧"

    def ngettext(self, one: str, many: str, number: int) -> str:
        return self.gettext(one if number == 1 else many)


class Page(HTMLParser):
    """Reads a page; `bare` are the texts that have words outside every bracket, each with these words.

    A sentence may run over several elements; what an attribute says stands in one.
    """

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.bare: list[tuple[str, set[str]]] = []
        self.depth = 0
        self._not_read = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._not_read += tag in NOT_READ
        for name, text in attrs:
            if name in READ and text:
                self._note(text, outside(text, 0)[0])

    def handle_endtag(self, tag: str) -> None:
        self._not_read -= tag in NOT_READ

    def handle_data(self, data: str) -> None:
        if not self._not_read:
            left, self.depth = outside(data, self.depth)
            self._note(data, left)

    def _note(self, text: str, left: str) -> None:
        words = set(WORD.findall(NO_WORD.sub(" ", left)))
        if words:
            self.bare.append((" ".join(text.split()), words))


def outside(text: str, depth: int) -> tuple[str, int]:
    """What of a text stands outside every bracket, with so many open before it, and how many are open behind."""
    left = ""
    for part in re.split("([⟦⟧])", text):
        depth += {"⟦": 1, "⟧": -1}.get(part, 0)
        left += part if depth == 0 and part != "⟧" else " "
    return left, depth
