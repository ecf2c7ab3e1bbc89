"""The director's day by keyboard alone: no mouse, no field filled by script, the focus always to be seen.

Source: W3C, Web Content Accessibility Guidelines 2.2, 2023: 2.1.1 and 2.1.2 (keyboard, no trap), 2.4.3 (order of
the focus), 2.4.7 (focus visible).
"""

import re

import pytest
from playwright.sync_api import Page, expect

from server.services import flight_line
from server.services.days import day_with
from server.storage.session import Database
from tests.browser.screens import EVERY_SCREEN, NOW, demo_day, moved_in_another_plan, powering_up
from tests.browser.test_live_pages import expect_state
from tests.factories import make_day
from tests.services.planned_days import SETTINGS

MOST_TABS = 80
PLANNED_WITHIN_MS = 60_000

FOCUSED = """() => {
  const node = document.activeElement, style = getComputedStyle(node), box = node.getBoundingClientRect();
  const words = node.getAttribute("aria-label") ?? node.labels?.[0]?.textContent ?? node.textContent;
  return {
    words: words.trim().replace(/\\s+/g, " "),
    isRinged: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    isInSight: box.bottom > 0 && box.top < innerHeight && box.right > 0,
  };
}"""


def focused(page: Page) -> str:
    """The words of whatever has the focus, which can be seen and has its ring."""
    found = page.evaluate(FOCUSED)
    assert found["isRinged"], found
    assert found["isInSight"], found
    return found["words"]


def tab_to(page: Page, words: str, key: str = "Tab") -> None:
    for _ in range(MOST_TABS):
        page.keyboard.press(key)
        if focused(page).startswith(words):
            return
    raise AssertionError(f"{MOST_TABS} times {key} do not lead to {words!r}")


@pytest.fixture
def page(server, browser_page) -> Page:
    """The sign-in, with a day that waits behind it."""
    database = Database(server.database_file)
    with database.write() as session:
        make_day(session, **{"aircraft": 2, "rounds": 1, "name": "Heron Hollow"} | SETTINGS)
    database.close()
    page = browser_page("laptop")
    page.goto(f"{server.address}/sign-in")
    return page


def test_from_the_sign_in_to_a_heat_in_the_air_without_a_mouse(page, server):
    press, write = page.keyboard.press, page.keyboard.type
    assert focused(page) == "Pass phrase"
    write(re.search(r"Pass phrase:\s+(.+)", server.said)[1].strip())
    press("Enter")
    page.wait_for_url("**/check-in")  # of the only day there is
    for line in ("Wren ABEFR 25 r", "Otter =Wren"):
        assert focused(page).startswith("One line")
        write(line)
        press("Enter")
        expect(page.locator(".answer")).to_contain_text(f"Set {line.split()[0]} to")
    tab_to(page, "Channel plan", "Shift+Tab")
    press("Enter")

    page.wait_for_url("**/plan")
    tab_to(page, "Plan channels")
    press("Enter")
    expect(page.get_by_role("button", name="Publish plan 1")).to_be_enabled(timeout=PLANNED_WITHIN_MS)
    tab_to(page, "Publish plan 1")
    press("Space")
    expect(page.locator(".page-head")).to_contain_text("Plan 1, published")
    tab_to(page, "Flight line", "Shift+Tab")
    press("Enter")

    page.wait_for_url("**/line")
    tab_to(page, "Call heat 1")
    press("Enter")
    wren, otter = (page.locator("#called tbody tr").nth(place) for place in (0, 1))
    expect(wren).to_contain_text("powers up")
    for key, row, says in (
        ("n", wren, "picture clear"),
        ("u", wren, "powers up"),
        ("n", wren, "picture clear"),
        ("n", otter, "off"),  # it may have powered up before the undo
    ):
        with page.expect_event("framenavigated"):
            press(key)
        expect(row).to_contain_text(says)
    press("ArrowDown")
    press("ArrowDown")
    assert focused(page) == "Otter: Back in line"
    with page.expect_event("framenavigated"):
        press("Enter")
    expect(otter).to_contain_text("powers up")
    with page.expect_event("framenavigated"):
        press("n")
    expect(page.get_by_role("button", name="Release heat 1: Wren, Otter")).to_be_visible()
    press("n")
    expect(wren).to_contain_text("FLY")
    expect(otter).to_contain_text("FLY")


WALK = """() => {
  const reach = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  const isThere = (node) => node.checkVisibility({ checkVisibilityCSS: true }) && !node.disabled;
  const radios = (node) => node.type === "radio" && !node.checked;
  return [...document.querySelectorAll(reach)].filter((node) => isThere(node) && !radios(node)).length;
}"""
PLACE = """() => {
  const all = [...document.querySelectorAll("*")];
  return document.activeElement === document.body ? -1 : all.indexOf(document.activeElement);
}"""


@pytest.mark.parametrize("path", [path for path in EVERY_SCREEN if path != "/patterns"])
def test_tab_leads_through_a_screen_in_its_order_and_out_of_it(field, signed_in_page, path):
    page = signed_in_page
    page.goto(field.make(demo_day, path)[0])
    page.evaluate("() => { document.body.tabIndex = -1; document.body.focus(); }")
    places = []
    for _ in range(page.evaluate(WALK) + 60):
        page.keyboard.press("Tab")
        places.append(page.evaluate(PLACE))
        if places[-1] == -1 and len(places) > 1:
            break
    reached = [place for place in places if place >= 0]
    assert places[-1] == -1, "the focus does not leave the page"
    assert reached == sorted(reached)
    assert len(reached) >= page.evaluate(WALK)


def test_a_live_update_leaves_focus_and_scroll_alone_on_my_slot_and_board(field, one_server, browser_page):
    paths = ("/slot/{token}", "/board/{code}")
    pages = [(browser_page("phone"), address) for address in field.make(demo_day, *paths)]
    for page, address in pages:
        page.goto(address)
        expect_state(page, "live")
        page.keyboard.press("Shift+Tab")
        page.evaluate("scrollTo(0, 300)")
    before = [page.evaluate("[document.activeElement.outerHTML, scrollY]") for page, _ in pages]
    with field.database.write() as session:
        day_id = moved_in_another_plan(session, "Wren", 5843).id
    one_server.ask(f"/announce/{day_id}")
    for (page, _), was in zip(pages, before, strict=True):
        expect(page.locator("#live")).to_contain_text("5843")
        assert page.evaluate("[document.activeElement.outerHTML, scrollY]") == was
        assert was[1] > 0


def test_a_live_update_leaves_focus_and_typed_text_alone_at_the_flight_line(
    field, one_server, signed_in_page
):
    page = signed_in_page
    page.goto(field.make(powering_up, "/days/{code}/line")[0])
    expect_state(page, "live")
    page.locator("#stop summary").press("Enter")
    page.locator("#stop-reason").press_sequentially("Somebody walks")
    with field.database.write() as session:
        day = day_with(session, page.url.split("/")[-2])
        flight_line.set_walkers(session, day, True, "director", NOW)
        day_id = day.id
    one_server.ask(f"/announce/{day_id}")
    expect(page.locator("#live")).to_contain_text("Walkers")
    expect(page.locator("#stop-reason")).to_be_focused()
    expect(page.locator("#stop-reason")).to_have_value("Somebody walks")
