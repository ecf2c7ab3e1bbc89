"""What a page says and what can be pressed on it, read as a browser would."""

import html
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser

Sent = str | list[str]


@dataclass
class Form:
    """`fields` as a browser would send them; several boxes of one name are a list."""

    action: str
    fields: dict[str, Sent] = field(default_factory=dict)
    buttons: list[tuple[str, dict[str, str]]] = field(default_factory=list)

    def says(self, words: str) -> bool:
        return any(text.startswith(words) for text, _ in self.buttons)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._form: Form | None = None
        self._select = ""
        self._area = ""
        self._button: dict[str, str] | None = None
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._form = Form(given.get("action", ""))
            self.forms.append(self._form)
        elif self._form is None:
            return
        elif tag == "input":
            self._input(self._form, given)
        elif tag == "select":
            self._select = given.get("name", "")
        elif tag == "option" and self._select:
            if "selected" in given or self._select not in self._form.fields:
                self._form.fields[self._select] = given.get("value", "")
        elif tag == "textarea":
            self._area, self._text = given.get("name", ""), ""
        elif tag == "button":
            self._button, self._text = given, ""

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = ""
        elif tag == "textarea" and self._form is not None:
            self._form.fields[self._area] = self._text.removeprefix("\n")
        elif tag == "button" and self._button is not None and self._form is not None:
            name = self._button.get("name")
            sent = {name: self._button.get("value", "")} if name else {}
            self._form.buttons.append((" ".join(self._text.split()), sent))
            self._button = None

    @staticmethod
    def _input(form: Form, given: Mapping[str, str]) -> None:
        name, kind = given.get("name", ""), given.get("type", "text")
        value = given.get("value", "on" if kind == "checkbox" else "")
        if not name or (kind in ("radio", "checkbox") and "checked" not in given):
            return
        before = form.fields.get(name)
        if kind == "checkbox" and before is not None:
            form.fields[name] = [*(before if isinstance(before, list) else [before]), value]
        else:
            form.fields[name] = value


def forms_of(page: str) -> list[Form]:
    reader = _Reader()
    reader.feed(page)
    return reader.forms


def form_to(page: str, action_ends: str) -> Form:
    """The form whose address ends so."""
    found = [one for one in forms_of(page) if one.action.endswith(action_ends)]
    assert found, f"nothing to press ends in {action_ends}: {[one.action for one in forms_of(page)]}"
    return found[0]


_WORD = re.compile(
    r'class="when-live"[^>]*>.*?<span>(.*?)</span>.*?class="when-stale".*?<span>(.*?)</span>', re.S
)
_ROW = re.compile(r'<tr id="called-(\d+)".*?class="callsign">(.*?)</span>', re.S)
_SEAT = re.compile(r'class="callsign">(.*?)</span>')


def words_of(slot: str) -> tuple[str, str]:
    """The word on a pilot's page, and the one that it shows in doubt."""
    found = _WORD.search(slot)
    assert found, slot[:500]
    return html.unescape(found[1]), html.unescape(found[2])


def called_rows(desk: str) -> dict[str, str]:
    """By callsign, the number of the pilot's place in the heat that is up."""
    return {html.unescape(callsign): number for number, callsign in _ROW.findall(desk)}


def next_order(desk: str) -> list[str]:
    """The next heat in the order of powering up."""
    table = desk.partition('id="next"')[2].partition("</table>")[0]
    return [html.unescape(one) for one in _SEAT.findall(table)]


def flights(desk: str) -> dict[str, int]:
    """By callsign, the flights that count."""
    part = desk.partition('class="line__flights"')[2].partition("</ul>")[0]
    found = re.findall(r'class="callsign">(.*?)</span>\s*(\d+)', part)
    return {html.unescape(callsign): int(count) for callsign, count in found}


def notice(page: str) -> str:
    """What a page says was not done."""
    part = page.partition('role="alert"')[2].partition("</div>\n")[0]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", part.partition(">")[2])).split())
