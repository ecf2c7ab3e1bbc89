"""A press while the server is gone: the page stays, says so, and the press can be made again."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.field_server import FieldServer
from tests.browser.test_open_flying import CALLED_WITHIN_MS
from tests.browser.test_whole_day import _join, _open_the_day


def test_a_pilots_page_keeps_its_channel_when_a_press_is_not_answered(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    code = _open_the_day(desk, server)
    desk.goto(f"{server.address}/days/{code}/open-flying")
    desk.get_by_role("button", name="Start open flying").click()
    expect(desk.get_by_role("button", name="Ask to fly")).to_be_visible()
    phone = browser_page("phone")
    _join(phone, server, code, "Magpie")
    phone.get_by_role("button", name="Ask to fly").click()
    expect(phone.locator(".slot__channel")).to_contain_text("MHz", timeout=CALLED_WITHIN_MS)

    server.kill()
    phone.get_by_role("button", name="Give the place back").click()
    expect(phone.get_by_role("alert").filter(has_text="does not answer")).to_be_visible()
    expect(phone.locator(".slot__channel")).to_contain_text("MHz")

    server.start()
    expect(phone.get_by_role("alert").filter(has_text="answers again")).to_be_visible(
        timeout=CALLED_WITHIN_MS
    )
    phone.get_by_role("button", name="Give the place back").click()
    expect(phone.get_by_role("button", name="Ask to fly")).to_be_visible()
    expect(phone.locator("#no-answer")).to_be_hidden()


def test_the_channel_plan_says_that_a_press_is_not_answered(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    code = _open_the_day(desk, server)
    desk.goto(f"{server.address}/days/{code}/check-in")
    expect(desk.locator("#line")).to_be_focused()
    desk.keyboard.type("Wren all 25 r")
    desk.keyboard.press("Enter")
    expect(desk.locator("#roster")).to_contain_text("Wren")
    desk.goto(f"{server.address}/days/{code}/plan")

    server.kill()
    desk.get_by_role("button", name="Plan channels").click()
    expect(desk.locator("#no-answer")).to_contain_text("Bandstand does not answer")
    server.start()
    desk.get_by_role("button", name="Plan channels").click()
    expect(desk.locator("#main")).to_contain_text(re.compile("Planned 1 pilot"), timeout=CALLED_WITHIN_MS)
    expect(desk.locator("#no-answer")).to_be_hidden()


def test_what_is_typed_in_a_plain_form_outlives_the_server(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    _open_the_day(desk, server)
    desk.goto(f"{server.address}/people")
    name = desk.get_by_label("Name").first
    name.fill("Tern")

    server.kill()
    name.press("Enter")
    expect(desk.locator("#no-answer")).to_contain_text("Bandstand does not answer")
    expect(name).to_have_value("Tern")
    server.start()
    with desk.expect_event("framenavigated"):
        name.press("Enter")
    desk.reload()
    expect(name).to_have_value("Tern")
