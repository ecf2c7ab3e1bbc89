"""Every screen by the rules of WCAG 2.2 A and AA and the usual good practice, as far as axe-core can judge them.

Source: W3C, Web Content Accessibility Guidelines 2.2, 2023; axe-core, an open rule engine for them. Sheets and
panels are opened first, so that what they hide is judged too. Colours are judged in every look.
"""

from collections.abc import Callable, Iterator, Sequence

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from sqlmodel import Session

from server.storage.tables import FieldDay
from tests.browser.screens import (
    DIRECTOR,
    EVERY_SCREEN,
    IN_USE,
    LINE,
    ONE_PILOT,
    OPEN_ALL,
    PUBLIC,
    Field,
    demo_day,
    sign_in,
)
from tests.factories import make_day

RULES = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    # Looks change colours and sizes alone. Outdoors everything keeps the 7:1 of level AAA.
    "dark": {"type": "rule", "values": ["color-contrast", "target-size"]},
    "outdoor": {"type": "rule", "values": ["color-contrast-enhanced", "target-size"]},
}
AXE = Axe()


def violations(page: Page, addresses: Sequence[str], look: str = "light") -> list[str]:
    """What is wrong on these pages in a look, each with its place."""
    sign_in(page, addresses[0], look)
    found = []
    for address in addresses:
        page.goto(address)
        found += [f"{address} ({look}): {words}" for words in judged(page, look)]
    return found


def judged(page: Page, look: str = "light") -> Iterator[str]:
    page.evaluate(OPEN_ALL)
    rules = {
        "label-content-name-mismatch": {"enabled": look == "light"}
    }  # WCAG 2.5.3, which axe keeps to itself
    found = AXE.run(page, options={"runOnly": RULES[look], "rules": rules}).response
    assert found["passes"], "the rules looked at nothing"
    for violation in found["violations"]:
        for node in violation["nodes"]:
            yield f"{violation['id']}: {node['html'][:120]}: {node['failureSummary'][:200]}"


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
    addresses = field.make(demo_day, *EVERY_SCREEN)
    assert violations(browser_page(screen), addresses, look) == []


@pytest.mark.parametrize("screen", ["laptop", "phone"])
def test_a_day_that_nobody_has_come_to_yet(
    field: Field, browser_page: Callable[[str], Page], screen: str
) -> None:
    assert violations(browser_page(screen), field.make(make_day, *DIRECTOR, *PUBLIC)) == []


@pytest.mark.parametrize("prepare", IN_USE, ids=lambda one: one.__name__)
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
    addresses = field.make(demo_day, path)
    assert violations(page, addresses) == []
    page.get_by_label(label).first.fill(typed)
    page.get_by_role("button", name=button).first.click()
    page.wait_for_selector("[aria-invalid=true], .notice--fault:visible")
    assert list(judged(page)) == []
