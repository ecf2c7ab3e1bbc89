"""What the application can be asked, as an OpenAPI document, with the forms of its own pages.

FastAPI writes the document of addresses. Forms are read by hand, so their fields are not in it: they are
collected from every page that the organizer sees on a busy field, with the values that stand in them.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from html.parser import HTMLParser
from typing import Any

import schemathesis
from fastapi import FastAPI
from schemathesis.schemas import APIOperation
from starlette.testclient import TestClient

from tests.attack.busy_field import CODES, EMPTY, LINK, WITH_HEATS, WITH_TURNS

FORM = "application/x-www-form-urlencoded"
FILES = "multipart/form-data"

Fields = Mapping[str, set[str]]
"""By the name of a field, the values that stand in it."""

KNOWN_PARTS: Mapping[str, tuple[str, ...]] = {
    "code": CODES,
    "token": (LINK,),
    "kind": ("heat-sheet", "check-in-form", "pilot-cards"),
    "item": ("arming", "failsafe", "antenna"),
    "role": ("helper", "director", "organizer"),
    "name": ("off", "set", "land", "override"),
}
"""What may stand in an address; a small number anywhere else."""

TAKE_FILES: Mapping[str, tuple[str, ...]] = {"/days/import": ("file",), "/days/{code}/import": ("file",)}
"""By address, the fields that take a file."""


class Forms(HTMLParser):
    """The fields of the forms of one page, by the address that they are sent to."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
        self._open: set[str] = set()
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._open = {at[name] for name in ("action", "hx-post") if name in at}
        elif self._open and at.get("formaction"):
            self._open.add(at["formaction"])
        name = self._select if tag == "option" else at.get("name", "")
        if tag == "select":
            self._select = name
        elif name:
            for address in self._open:
                self.fields[address.split("?")[0]][name].add(at.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = set()


ODD = (
    "",
    "0",
    "-1",
    "99999999999999999999",
    "1e400",
    "nan",
    "None",
    "\0",
    "=1+1",
    "\u202e<b>",
    "x" * 3000,
    "%s%n",
)
"""What may stand in a field in place of what its page offers."""


FILLED_IN, MEDDLED_WITH, ANY = "filled in", "meddled with", "any"
"""How a form is sent: whole with its own choices; in part, with odd ones too; with any text and anywhere."""


def document(app: FastAPI, forms: Mapping[str, Fields], how: str) -> dict[str, Any]:
    """The description of every operation, with forms that are sent as `how` says."""
    described = app.openapi()
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            for parameter in operation.get("parameters", ()):
                is_there = parameter["in"] == "path" and how != ANY
                known = _known(path, parameter["name"], forms) if is_there else ()
                parameter["schema"] = {"enum": list(known)} if known else {"type": ["string", "integer"]}
            if method == "post":
                operation["requestBody"] = {"content": _content(path, _fields_of(path, forms), how)}
    return described


def operations(described: dict[str, Any]) -> list[APIOperation]:
    """Every operation of the document, in its order."""
    return [found.ok() for found in schemathesis.openapi.from_dict(described).get_all_operations()]


def _known(path: str, name: str, forms: Iterable[str]) -> list[str]:
    """What stands there in the addresses of forms; else what is known to, or the number of a row."""
    before, after = path.split(f"{{{name}}}")
    fits = re.compile(f"{_any_part(before)}([^/]+){_any_part(after)}/?")
    found = {match[1] for match in map(fits.fullmatch, forms) if match}
    return sorted(found | set(KNOWN_PARTS.get(name, "1234")))


def _any_part(path: str) -> str:
    return re.sub(r"{\w+}", "[^/]+", path)


def _content(path: str, fields: Fields, how: str) -> dict[str, Any]:
    each = {name: _field(values, how) for name, values in fields.items()}
    schema = {"type": "object", "properties": each, "additionalProperties": how == ANY}
    if how == FILLED_IN:
        schema["required"] = list(each)
    if path not in TAKE_FILES:
        return {FORM: {"schema": schema}}
    files = {name: {"type": "string", "format": "binary"} for name in TAKE_FILES[path]}
    return {FORM: {"schema": schema}, FILES: {"schema": {**schema, "properties": {**each, **files}}}}


def _field(values: Iterable[str], how: str) -> dict[str, Any]:
    offered = sorted(set(values) - {""})
    if how == ANY or not offered:
        return {"type": "string"}
    return {"enum": offered if how == FILLED_IN else [*offered, *ODD]}


def _fields_of(path: str, forms: Mapping[str, Fields]) -> Fields:
    """The fields of the forms that are sent to a path; those of all forms where no page shows one."""
    fits = re.compile(_any_part(path) + "/?")
    found = [fields for address, fields in forms.items() if fits.fullmatch(address)]
    return _joined(found or forms.values())


def _joined(several: Iterable[Fields]) -> Fields:
    joined: dict[str, set[str]] = defaultdict(set)
    for fields in several:
        for name, values in fields.items():
            joined[name] |= values
    return joined


def forms_of(client: TestClient, paths: Iterable[str]) -> dict[str, Fields]:
    """The forms of every page that `client` sees, by the address that they are sent to."""
    found: dict[str, list[Fields]] = defaultdict(list)
    for address in sorted({address for path in paths for address in _addresses(path)}):
        page = client.get(address)
        if page.headers.get("Content-Type", "").startswith("text/html"):
            forms = Forms()
            forms.feed(page.text)
            for at, fields in forms.fields.items():
                found[at].append(fields)
    return {at: _joined(several) for at, several in found.items()}


def _addresses(path: str) -> Iterable[str]:
    """An address on each day, and of each of the first rows; none of paper, which has no forms."""
    if "/paper/" in path or path.endswith("/stream"):
        return
    for code in (WITH_HEATS, WITH_TURNS, EMPTY):
        for number in "123":
            known = {"code": code, "token": LINK}
            yield re.sub(
                r"{(\w+)}", lambda part, known=known, number=number: known.get(part[1], number), path
            )
