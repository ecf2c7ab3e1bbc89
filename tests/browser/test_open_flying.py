"""Open flying at a real field: the desk opens it, phones ask, wait, land and are called, without a reload."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.field_server import FieldServer
from tests.browser.test_whole_day import LIVE_WITHIN_MS, _join, _open_the_day

CALLED_WITHIN_MS = 60_000
"""The first channel on a machine compiles the search."""


def test_the_second_is_called_when_the_first_has_landed(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    code = _open_the_day(desk, server)
    desk.goto(f"{server.address}/days/{code}/site")
    desk.get_by_label("Aircraft in the air").fill("1")
    desk.get_by_role("button", name="Save site and rules").click()

    first, second = browser_page("phone"), browser_page("phone")
    for phone, callsign in ((first, "Magpie"), (second, "Coot")):
        _join(phone, server, code, callsign)
        expect(phone.get_by_role("button", name="Ask to fly")).to_have_count(0)

    board = browser_page("laptop")
    board.goto(f"{server.address}/board/{code}")
    desk.get_by_role("link", name="Flight line").click()
    desk.get_by_role("link", name="Open flying").click()
    desk.get_by_role("button", name="Start open flying").click()
    expect(board.locator("#live")).to_contain_text("Open flying", timeout=LIVE_WITHIN_MS)

    first.get_by_role("button", name="Ask to fly").click()
    expect(first.locator(".slot__channel")).to_contain_text("MHz", timeout=CALLED_WITHIN_MS)
    expect(first.locator(".when-live")).to_contain_text("READY")
    expect(board.locator("#live")).to_contain_text("getting ready", timeout=LIVE_WITHIN_MS)

    second.get_by_role("button", name="Ask to fly").click()
    expect(second.locator(".when-live")).to_contain_text("You are 1st of 1 in the queue")
    expect(second.locator(".when-live")).to_contain_text("STAY OFF")
    expect(desk.locator(".turn-queue")).to_contain_text("Coot", timeout=LIVE_WITHIN_MS)

    first.get_by_role("button", name=re.compile("My transmitter is set to")).click()
    expect(first.locator(".when-live")).to_contain_text("POWER UP")
    first.get_by_role("button", name="Picture is clear").click()
    expect(first.locator(".when-live")).to_contain_text("FLY")
    expect(desk.locator("#place-1")).to_contain_text("FLY", timeout=LIVE_WITHIN_MS)

    first.get_by_role("button", name="I have landed and powered off").click()
    expect(second.locator(".when-live")).to_contain_text("READY", timeout=LIVE_WITHIN_MS)
    expect(second.locator(".slot__channel")).to_contain_text("MHz")
    expect(board.locator("#live")).to_contain_text("Coot", timeout=LIVE_WITHIN_MS)
    expect(desk.locator("#place-1")).to_contain_text("Coot", timeout=LIVE_WITHIN_MS)


def test_the_desk_flies_a_pilot_without_a_phone_by_keyboard(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    code = _open_the_day(desk, server)
    _join(browser_page("phone"), server, code, "Magpie")
    desk.goto(f"{server.address}/days/{code}/open-flying")
    desk.get_by_role("button", name="Start open flying").click()
    expect(desk.get_by_label(re.compile("One line"))).to_be_focused()
    for line, word in (("magpie", "READY"), ("magpie set", "POWER UP"), ("magpie clear", "FLY")):
        desk.keyboard.type(line)
        desk.keyboard.press("Enter")
        expect(desk.locator("#place-1")).to_contain_text(word, timeout=CALLED_WITHIN_MS)
    desk.keyboard.press("Tab")
    desk.get_by_role("heading", name="Open flying").click()
    desk.keyboard.press("ArrowDown")
    expect(desk.get_by_role("button", name="Magpie: Landed and powered off")).to_be_focused()
    desk.keyboard.press("Enter")
    expect(desk.locator("#place-1")).to_contain_text("free")
    desk.get_by_role("button", name="Undo: Magpie is back").click()
    expect(desk.locator("#place-1")).to_contain_text("FLY")
