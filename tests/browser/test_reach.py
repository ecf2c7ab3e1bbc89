"""Whether every screen can be reached by whoever enlarges it, touches it, or hears it instead of seeing it.

Source: W3C, Web Content Accessibility Guidelines 2.2, 2023: 1.4.4 (text to 200 %), 1.4.10 (reflow at 320 px,
tables and drawings excepted in a box of their own), 2.4.2 (titles), 2.5.5 (44 px, level AAA; links in a sentence
excepted, and controls that a label of that size belongs to), 1.3.1 (headings and landmarks), 2.3.3 (motion).
"""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.screens import EVERY_SCREEN, IN_USE, LINE, OPEN_ALL, PUBLIC, Field, demo_day, sign_in

LEAST_TARGET_PX = 44
NARROW = {"width": 320, "height": 640}

TOO_WIDE = """() => {
  const scrolled = ".table-scroll, .sheet-scroll, .tight, .tight-facts, .tight-times, .spectrum";
  const boxes = `${scrolled}, svg, .page-head__place`;
  const isBeyond = (node) => !node.closest(boxes) && node.getBoundingClientRect().right > wide + 1;
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= wide) return [];
  const seen = [...document.querySelectorAll("body *")].filter((node) => node.checkVisibility());
  const beyond = seen.filter(isBeyond);
  return [`${document.documentElement.scrollWidth} px`, ...beyond.map((one) => one.outerHTML.slice(0, 90))];
}"""

TOO_SMALL = """(least) => {
  const inSentence = (node) => node.matches("a") && getComputedStyle(node).display === "inline"
    && node.parentElement.textContent.trim().length > node.textContent.trim().length;
  const ofLabel = (node) => node.labels?.length && node.labels[0].getBoundingClientRect().height >= least;
  const small = [];
  const touched = "a[href], button, input, select, textarea, summary, [tabindex='0']";
  for (const node of document.querySelectorAll(touched)) {
    const box = node.getBoundingClientRect();
    if (!node.checkVisibility({ checkVisibilityCSS: true }) || !box.width || node.closest("svg, .skip")) continue;
    if (inSentence(node) || ofLabel(node)) continue;
    if (box.height < least - 0.5 || box.width < least - 0.5)
      small.push(`${Math.round(box.width)}x${Math.round(box.height)} ${node.outerHTML.slice(0, 110)}`);
  }
  return small;
}"""

FRAME = """() => ({
  title: document.title,
  h1: document.querySelectorAll("h1").length,
  main: document.querySelectorAll("main").length,
  skips: [...document.querySelectorAll("h1, h2, h3, h4")].filter((one) => one.checkVisibility())
    .map((one) => Number(one.tagName[1])).some((level, at, all) => level > (all[at - 1] ?? 0) + 1),
})"""

MOVING = """() => [...document.querySelectorAll("*")].flatMap((node) => {
  const style = getComputedStyle(node);
  const moves = style.animationName !== "none" || parseFloat(style.transitionDuration) > 0;
  return moves || style.scrollBehavior === "smooth" ? [node.outerHTML.slice(0, 80)] : [];
})"""


def visit(page: Page, addresses: list[str], ask: Callable[[Page], object]) -> dict[str, object]:
    """By address, what was asked there, where the answer is not empty."""
    sign_in(page, addresses[0])
    found = {}
    for address in addresses:
        page.goto(address)
        page.evaluate(OPEN_ALL)
        if answer := ask(page):
            found[address] = answer
    return found


@pytest.fixture(params=["a published day", *IN_USE], ids=lambda one: getattr(one, "__name__", one))
def addresses(request: pytest.FixtureRequest, field: Field) -> list[str]:
    """All screens of the demonstration day; those of the line, the board and My slot of a day in use."""
    if isinstance(request.param, str):
        return field.make(demo_day, *EVERY_SCREEN)
    return field.make(request.param, *LINE, *PUBLIC, "/slot/{token}")


def test_nothing_is_wider_than_a_narrow_screen_or_one_enlarged_to_200_per_cent(addresses, browser_page):
    def too_wide(page: Page) -> object:
        narrow = page.evaluate(TOO_WIDE)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        page.set_viewport_size({"width": 390, "height": 844})
        enlarged = page.evaluate(TOO_WIDE)
        page.set_viewport_size(NARROW)
        return narrow + [f"enlarged: {one}" for one in enlarged]

    page = browser_page("phone")
    page.set_viewport_size(NARROW)
    assert visit(page, addresses, too_wide) == {}


def test_whatever_is_touched_on_a_phone_is_as_large_as_a_finger(addresses, browser_page):
    small = visit(browser_page("phone"), addresses, lambda page: page.evaluate(TOO_SMALL, LEAST_TARGET_PX))
    assert small == {}


def test_every_screen_has_one_heading_and_one_main_part_and_a_title_of_its_own(field, signed_in_page):
    paths = [path for path in EVERY_SCREEN if "?" not in path]
    frames = visit(signed_in_page, field.make(demo_day, *paths), lambda page: page.evaluate(FRAME))
    wrong = {at: one for at, one in frames.items() if (one["h1"], one["main"], one["skips"]) != (1, 1, False)}
    assert wrong == {}
    assert len({one["title"] for one in frames.values()}) == len(paths)


def test_nothing_moves_for_whoever_asks_for_that(addresses, browser_page):
    page = browser_page("phone")
    page.emulate_media(reduced_motion="reduce")
    assert visit(page, addresses, lambda page: page.evaluate(MOVING)) == {}
