"""The bench by keyboard: a helper does a pilot in a few keys, and reads levels without touching the mouse."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.field_server import FieldServer
from tests.browser.test_whole_day import _open_the_day

FIRST_CHANNEL_WITHIN_MS = 60_000
"""The first channel on a machine compiles the search."""


def _at_the_bench(desk: Page, server: FieldServer, *callsigns: str) -> None:
    """Check pilots in and open the bench of the first by name."""
    code = _open_the_day(desk, server)
    desk.goto(f"{server.address}/days/{code}/check-in")
    for callsign in callsigns:
        desk.get_by_label("One line").fill(f"{callsign} ABEFR 25 r")
        desk.keyboard.press("Enter")
        expect(desk.locator("#answer")).to_contain_text(callsign, timeout=FIRST_CHANNEL_WITHIN_MS)
    desk.goto(f"{server.address}/days/{code}/bench")
    desk.keyboard.press("n")
    expect(desk.get_by_role("heading", level=1)).to_have_text(f"Bench: {callsigns[0]}")


def test_seven_keys_without_a_pause_do_a_pilot_and_open_the_next(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    _at_the_bench(desk, server, "Coot", "Magpie")
    for key in "123456":
        desk.keyboard.press(key)
    expect(desk.locator("#items-head")).to_have_text("Bench check: all seen")
    desk.keyboard.press("n")
    expect(desk.get_by_role("heading", level=1)).to_have_text("Bench: Magpie")


def test_in_doubt_readings_are_typed_one_after_the_other(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    _at_the_bench(desk, server, "Coot")
    desk.keyboard.press("7")
    expect(desk.locator("#level-0")).to_be_focused()
    desk.keyboard.type("-50")
    desk.keyboard.press("Enter")
    expect(desk.locator("#level-1")).to_be_focused()
    expect(desk.locator("#level-1")).to_have_value("")
    assert desk.locator("#tuned-1").input_value() != ""
    desk.keyboard.type("loud")
    desk.keyboard.press("Enter")
    expect(desk.locator("#level-1-error")).to_contain_text("Type the number that the receiver shows")
    expect(desk.locator("#level-1")).to_be_focused()
    expect(desk.locator("#level-1")).to_have_value("loud")


def test_leave_to_switch_on_is_asked_for_and_given_back_by_keyboard(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    desk = browser_page("laptop")
    _at_the_bench(desk, server, "Coot")
    for key, words in (("c", "May switch on"), ("c", "On since"), ("o", "Transmitter off.")):
        desk.keyboard.press(key)
        expect(desk.locator("#clearance")).to_contain_text(words)
