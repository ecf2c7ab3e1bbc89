"""Every screen by the rules of WCAG 2.2 A and AA and the usual good practice, as far as axe-core can judge them.

Source: W3C, Web Content Accessibility Guidelines 2.2, 2023; axe-core, an open rule engine for them. Sheets and
panels are opened first, so that what they hide is judged too. Colours are judged in every look.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from sqlmodel import Session

from server.services import demo, flight_line, open_flying, outside_signals, trouble, turns
from server.services.days import day_with
from server.services.pilots import pilot_of
from server.storage import access
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web import looks
from server.web.dependencies import COOKIE
from tests.browser.field_server import FieldServer
from tests.factories import make_day, make_pilot
from tests.services.called_days import call_heat, released
from tests.services.changed_days import id_of, published_day
from tests.services.planned_days import SETTINGS

NOW = datetime.now(UTC)
TOKEN = "token-of-the-director"
RULES = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    # Looks change colours and sizes alone. Outdoors everything keeps the 7:1 of level AAA.
    "dark": {"type": "rule", "values": ["color-contrast", "target-size"]},
    "outdoor": {"type": "rule", "values": ["color-contrast-enhanced", "target-size"]},
}
# A menu that lies over its neighbours is judged on the phone, where it does not.
OPEN_ALL = """
const closed = innerWidth > 760 ? "details:not(.more)" : "details";
for (const one of document.querySelectorAll(closed)) one.open = true;
"""
AXE = Axe()

DIRECTOR = (
    "/days",
    "/days/{code}/check-in",
    "/days/{code}/bench",
    "/days/{code}/import",
    "/days/{code}/plan",
    "/days/{code}/line",
    "/days/{code}/line/trouble",
    "/days/{code}/open-flying",
    "/days/{code}/heat-sheet",
    "/days/{code}/paper",
    "/days/{code}/site",
    "/days/{code}/logbook",
)
PUBLIC = ("/board/{code}", "/join/{code}")
LINE = ("/days/{code}/check-in", "/days/{code}/line", "/days/{code}/line/trouble", "/days/{code}/open-flying")
ONE_PILOT = ("/days/{code}/pilots/{pilot}", "/days/{code}/pilots/{pilot}/bench", "/slot/{token}")
OF_A_PLAN = ("/days/{code}/plan?spectrum=1", "/days/{code}/plan/1", "/days/{code}/heat-sheet?by=channel")
ELSEWHERE = ("/patterns", "/guide", "/days/none/plan", "/slot/none")


class Field:
    """A server with the demonstration day, and the director's sign-in."""

    def __init__(self, server: FieldServer) -> None:
        self.address = server.address
        self.database = Database(server.database_file)
        demo.make_demo(self.database, NOW)
        with self.database.write() as session:
            hashed = sha256(TOKEN.encode()).hexdigest()
            access.add_session(session, hashed, NOW, NOW + timedelta(hours=1))

    def make(self, prepare: Callable[[Session], FieldDay], *paths: str, callsign: str = "Wren") -> list[str]:
        """Addresses on a day as it was prepared; {pilot} and {token} are those of the callsign, if it has them."""
        with self.database.write() as session:
            day = prepare(session)
            session.flush()
            values: dict[str, object] = {"code": day.code}
            if any("{pilot}" in path or "{token}" in path for path in paths):
                pilot = pilot_of(session, day, id_of(session, day, callsign))
                values |= {"pilot": pilot.id, "token": pilot.link_token}
            return [self.address + path.format(**values) for path in paths]


def violations(page: Page, addresses: Sequence[str], look: str = "light") -> list[str]:
    """What is wrong on these pages in a look, each with its place."""
    cookies = {COOKIE: TOKEN, looks.COOKIE: look}
    page.context.add_cookies(
        [{"name": name, "value": value, "url": addresses[0]} for name, value in cookies.items()]
    )
    found = []
    for address in addresses:
        page.goto(address)
        found += [f"{address} ({look}): {words}" for words in judged(page, look)]
    return found


def judged(page: Page, look: str = "light") -> Iterator[str]:
    page.evaluate(OPEN_ALL)
    found = AXE.run(page, options={"runOnly": RULES[look]}).response
    assert found["passes"], "the rules looked at nothing"
    for violation in found["violations"]:
        for node in violation["nodes"]:
            yield f"{violation['id']}: {node['html'][:120]}: {node['failureSummary'][:200]}"


@pytest.fixture(scope="module")
def field(one_server: FieldServer) -> Iterator[Field]:
    field = Field(one_server)
    yield field
    field.database.close()


@pytest.mark.parametrize(
    ("screen", "look"),
    [
        ("laptop", "light"),
        ("phone", "light"),
        ("laptop", "dark"),
        ("laptop", "outdoor"),
        ("phone", "outdoor"),
    ],
)
def test_every_screen_of_a_published_day(
    field: Field, browser_page: Callable[[str], Page], screen: str, look: str
) -> None:
    paths = (*DIRECTOR, *PUBLIC, *ONE_PILOT, *OF_A_PLAN, *ELSEWHERE)
    addresses = field.make(lambda session: day_with(session, demo.CODE), *paths)
    assert violations(browser_page(screen), addresses, look) == []


@pytest.mark.parametrize("screen", ["laptop", "phone"])
def test_a_day_that_nobody_has_come_to_yet(
    field: Field, browser_page: Callable[[str], Page], screen: str
) -> None:
    assert violations(browser_page(screen), field.make(make_day, *DIRECTOR, *PUBLIC)) == []


def powering_up(session: Session) -> FieldDay:
    day = published_day(session)
    call_heat(session, day, 1)
    return day


def in_trouble(session: Session) -> FieldDay:
    day = published_day(session)
    outside_signals.note(session, day, "5800 10 -70 camera van", NOW)
    released(session, day, 1)
    wren = pilot_of(session, day, id_of(session, day, "Wren"))
    trouble.report(session, day, wren, {"symptom": "lines"}, "pilot", NOW)
    return day


def told_to_land(session: Session) -> FieldDay:
    day = published_day(session)
    released(session, day, 1)
    flight_line.everybody_land(session, day, "An air ambulance comes in", "director", NOW)
    return day


def held_by_walkers(session: Session) -> FieldDay:
    day = powering_up(session)
    flight_line.set_walkers(session, day, True, "director", NOW)
    return day


def flown_openly(session: Session) -> FieldDay:
    day = make_day(session, aircraft=1, **SETTINGS)
    open_flying.open_up(session, day, False, "director", NOW)
    for callsign in ("Wren", "Bartholomew-the-Third-XY"):
        turns.ask(session, day, make_pilot(session, day, callsign), "pilot", NOW)
    return day


@pytest.mark.parametrize(
    "prepare",
    [powering_up, in_trouble, told_to_land, held_by_walkers, flown_openly],
    ids=lambda one: one.__name__,
)
@pytest.mark.parametrize(("screen", "look"), [("phone", "light"), ("laptop", "dark")])
def test_a_day_in_use(
    field: Field,
    browser_page: Callable[[str], Page],
    prepare: Callable[[Session], FieldDay],
    screen: str,
    look: str,
) -> None:
    addresses = field.make(prepare, *LINE, *PUBLIC, *ONE_PILOT)
    assert violations(browser_page(screen), addresses, look) == []


@pytest.mark.parametrize(
    ("path", "label", "typed", "button"),
    [
        ("/days", "Name", "", "Make the field day"),
        ("/days/{code}/site", "Near, m", "far", "Save site and rules"),
        ("/days/{code}/pilots/{pilot}", "Callsign", "Otter", "Save Wren"),
        ("/days/{code}/check-in", "One line", "Wren ABEFR 25", "Check in"),
        ("/join/{code}", "The callsign you fly under", "Wren", "Check in"),
    ],
)
def test_a_form_that_was_refused(
    field: Field, browser_page: Callable[[str], Page], path: str, label: str, typed: str, button: str
) -> None:
    page = browser_page("laptop")
    addresses = field.make(lambda session: day_with(session, demo.CODE), path)
    assert violations(page, addresses) == []
    page.get_by_label(label).first.fill(typed)
    page.get_by_role("button", name=button).first.click()
    page.wait_for_selector("[aria-invalid=true], .notice--fault:visible")
    assert list(judged(page)) == []
