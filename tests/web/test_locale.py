"""A field that writes 2,5: what is read follows the locale, what a form holds and takes does not break."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from server import wording
from server.services.days import day_with, site_of
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from tests.browser.screens import powering_up
from tests.web.test_site import save

SCREENS = ("plan", "heat-sheet", "line", "site", "check-in", "paper", "open-flying", "logbook")
ENGLISH_DECIMAL = re.compile(r"\d\.\d\s*(?:dBm?|mW|cm|m)\b")
FIELD = re.compile(r'<input[^>]*\bvalue="([^"]*)"')


@pytest.fixture
def settings(settings: Settings) -> Iterator[Settings]:
    yield replace(settings, locale=wording.locale_named("de_DE"))
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


@pytest.fixture
def day(client: TestClient, database: Database) -> FieldDay:
    with database.write() as session:
        return powering_up(session)


def test_figures_have_a_comma_on_every_screen(director: TestClient, day: FieldDay) -> None:
    for screen in SCREENS:
        text = director.get(f"/days/{day.code}/{screen}").text
        assert '<html lang="de-DE">' in text
        assert ENGLISH_DECIMAL.findall(text) == [], screen


def test_margins_and_grades_have_a_comma(director: TestClient, day: FieldDay) -> None:
    text = director.get(f"/days/{day.code}/plan").text
    assert re.search(r"[+\N{MINUS SIGN}]\d+,\d\N{NO-BREAK SPACE}dB", text)
    assert re.search(r'"grade__value">\d,\d<', text)


def test_dates_are_written_as_the_locale_writes_them(director: TestClient, day: FieldDay) -> None:
    assert "Samstag, 16. Mai 2026" in director.get(f"/board/{day.code}").text


def test_what_a_field_holds_stays_as_machines_read_it(organizer: TestClient, day: FieldDay, database) -> None:
    save(organizer, database, day.code, near_m="8.5")
    values = FIELD.findall(organizer.get(f"/days/{day.code}/site").text)
    assert "8.5" in values
    assert [value for value in values if re.fullmatch(r"-?\d+,\d+", value)] == []


def test_a_comma_that_was_typed_is_understood(organizer: TestClient, day: FieldDay, database) -> None:
    save(organizer, database, day.code, near_m="8,5", iip3_dbm="\N{MINUS SIGN}12,5")
    with database.read() as session:
        site = site_of(day_with(session, day.code))
    assert (site.near_m, site.receiver.iip3_dbm) == (8.5, -12.5)


def test_drawings_have_the_comma_too(director: TestClient, day: FieldDay) -> None:
    drawing = director.get(f"/days/{day.code}/plan/spectrum?heat=1").text
    assert re.search(r">[+\N{MINUS SIGN}]\d+,\d<", drawing)
