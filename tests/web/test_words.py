"""Every word of every screen comes from the catalogue: a language that brackets its messages leaves none bare."""

import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import pytest
from sqlmodel import Session, select
from starlette.testclient import TestClient

from server import paths, wording
from server.radio.rules import RULE_SETS
from server.services import demo, heat_facts
from server.services.pilots import pilot_of
from server.storage.session import Database
from server.storage.tables import Aircraft, FieldDay, Pilot
from server.web.site_pages import RECEIVER_FIELDS
from server.web.templating import make_templates
from tests.brackets import Brackets, Page
from tests.browser.screens import (
    DIRECTOR,
    EVERY_SCREEN,
    IN_USE,
    LINE,
    ONE_PILOT,
    PUBLIC,
    demo_day,
    powering_up,
)
from tests.factories import NOW, make_day
from tests.services.changed_days import id_of

SPECIMENS = "/patterns"
"""A page for who builds pages: its sentences are made up and nobody at a field reads them."""

OPENED = (
    "/days/{code}/plan?heat=1&pilot={pilot}",
    "/days/{code}/plan?spectrum=1&moved={pilot}&mhz=5745",
    "/days/{code}/check-in?by=fields",
    "/days/{code}/check-in/echo?line=Rook+ABEFR+25,200+x+s:Wren",
    "/days/{code}/check-in/echo?line=Rook+Q9+lots",
    "/days/{code}/pilots/{pilot}/link",
    "/days/{code}/heat-sheet?by=pilot",
)
NAMES = {
    # Names, and units as all languages write them.
    *("Bandstand", "CSV", "JSON", "Letter", "MHz", "mW", "dB", "dBm", "dBi", "min", "UTC"),
    # The Unicode locale data say dates, no catalogue.
    *("Sat", "Saturday", "May"),
    # Typed by a director, one of them as what the planner shall do.
    *("An", "air", "ambulance", "comes", "in", "auto"),
    # In the source of the demonstration's rules, beside the name of its club.
    "invented",
}
LIST = {
    "text": "UTC,CSV\nRook,Q9\nWren,A",
    "act": "look",
    "has_header": "yes",
    "column-0": "callsign",
    "column-1": "tunes",
}
Refused = tuple[str, dict[str, str]]
REFUSED: tuple[Refused, ...] = (
    ("/days", {"name": "", "date": "soon", "time_zone": "Mars"}),
    ("/days/{code}/pilots", {"line": "Wren ABEFR 25"}),
    ("/days/{code}/pilots", {"line": "Rook Q9 lots"}),
    ("/join/{code}", {"join_id": "1", "callsign": "", "gear": "", "tunes": "Q9", "power_mw": "lots"}),
    ("/days/{code}/line/hours", {"starts_at": "dawn", "ends_by": "dusk"}),
    ("/days/{code}/line/call", {"heats": "99"}),
    ("/days/{code}/open-flying/line", {"line": "Nobody up"}),
    ("/days/{code}/import", LIST),
    ("/sign-in", {"pass_phrase": "wrong", "next": "/"}),
)


@pytest.fixture
def in_brackets(organizer: TestClient) -> Iterator[TestClient]:
    heat_facts._computed.cache_clear()  # it keeps words in the language that was spoken
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE), Brackets())
    yield organizer
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))
    heat_facts._computed.cache_clear()


def of_the_day(session: Session, day: FieldDay) -> set[str]:
    """What people called things, word by word."""
    names = [day.name, day.code, day.time_zone]
    names += session.exec(select(Pilot.callsign))
    names += session.exec(select(Aircraft.name))
    words = {word for name in names for word in re.split(r"[\s/-]+", name)}
    return words | {word.capitalize() for word in words}


def whole_texts() -> set[str]:
    """Rule sets are quoted as they were written, and assumptions have names for machines."""
    rules = {text for one in RULE_SETS.values() for text in (one.name, one.conditions)}
    return rules | set(RECEIVER_FIELDS)


def bare(html: str, names: set[str]) -> list[str]:
    page = Page(html)
    assert page.depth == 0, "a bracket stays open"
    return [text for text, words in page.bare if not words <= names and text not in whole_texts()]


Ask = Callable[[Callable[[Session], FieldDay], Iterable[str | Refused]], list[str]]


@pytest.fixture
def bare_on(in_brackets: TestClient, database: Database) -> Ask:
    """The bare texts that a day's addresses answer with, or what they answer to a form."""

    def answer(address: str | Refused, values: dict[str, object]) -> str:
        if isinstance(address, str):
            return in_brackets.get(address.format(**values)).text
        path, form = address
        return in_brackets.post(path.format(**values), data=form).text

    def ask(prepare: Callable[[Session], FieldDay], addresses: Iterable[str | Refused]) -> list[str]:
        with database.write() as session:
            day = prepare(session)
            session.flush()
            values: dict[str, object] = {"code": day.code}
            if session.exec(select(Pilot).where(Pilot.field_day_id == day.id)).first():
                pilot = pilot_of(session, day, id_of(session, day, "Wren"))
                values |= {"pilot": pilot.id, "token": pilot.link_token}
            names = NAMES | of_the_day(session, day)
        found = []
        for address in addresses:
            html = answer(address, values)
            assert "⟦" in html, address
            found += [f"{address}: {text}" for text in bare(html, names)]
        return found

    return ask


def test_the_demonstration_day_has_no_bare_word(database: Database, bare_on: Ask) -> None:
    demo.make_demo(database, NOW)
    screens = tuple(path for path in (*EVERY_SCREEN, *OPENED) if path != SPECIMENS)
    assert not bare_on(demo_day, screens)


def test_what_a_form_is_refused_with_has_no_bare_word(bare_on: Ask) -> None:
    assert not bare_on(powering_up, REFUSED)


def test_a_day_that_nobody_has_come_to_yet_has_no_bare_word(bare_on: Ask) -> None:
    assert not bare_on(make_day, (*DIRECTOR, *PUBLIC))


@pytest.mark.parametrize("prepare", IN_USE, ids=lambda one: one.__name__)
def test_a_day_in_use_has_no_bare_word(prepare: Callable[[Session], FieldDay], bare_on: Ask) -> None:
    assert not bare_on(prepare, (*LINE, *PUBLIC, *ONE_PILOT))


@pytest.mark.parametrize(
    "file", sorted((paths.TEMPLATES / "errors").glob("*.html")), ids=lambda one: one.stem
)
@pytest.mark.parametrize("sign_in", ["/sign-in", "/sign-in?role=director&next=/days"])
@pytest.mark.usefixtures("in_brackets")
def test_no_page_of_a_fault_has_a_bare_word(file: Path, sign_in: str) -> None:
    template = make_templates().env.get_template(f"errors/{file.name}")
    leads = {"sign_in": sign_in, "leads_back": "next=" in sign_in, "page": "/days"}
    html = template.render(message="", status=403, request_number="1a2b3c4d", **leads)
    assert "⟦" in html
    assert not bare(html, NAMES)


@pytest.mark.parametrize("file", sorted((paths.STATIC / "js").glob("*.js")), ids=lambda one: one.stem)
def test_no_script_has_a_sentence_of_its_own(file: Path) -> None:
    code = re.sub(r"(?m)(^|\s)//.*$", "", file.read_text("utf-8"))
    assert re.findall(r"[\"'`][A-Z][a-z]+[ .][^\"'`]*", code) == []
