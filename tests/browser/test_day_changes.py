"""A pilot who arrives late, from the press to the board, in a real browser and by keyboard."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.field_server import FieldServer
from tests.browser.test_whole_day import PLANNED_WITHIN_MS, _open_the_day, _plan_and_publish, _publish

DESK_LINES = ("Wren all 25 r", "Otter R 25 r", "Rook all 25 r", "Sorrel all 25 r", "Quill all 25 r")


def test_a_late_pilot_gets_a_place_and_the_others_hear_nothing(
    server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    director = browser_page("laptop")
    code = _open_the_day(director, server)
    _check_in(director, server, code, *DESK_LINES)
    _plan_and_publish(director, server, code, number=1)
    _check_in(director, server, code, "Magpie all 25 r")
    director.goto(f"{server.address}/days/{code}/plan")

    director.keyboard.press("d")
    director.get_by_label("Arrives late").focus()
    director.keyboard.press("Tab")
    director.keyboard.press("Enter")
    rows = director.get_by_role("region", name="What it costs")
    expect(rows).to_contain_text("Magpie arrives late.", timeout=PLANNED_WITHIN_MS)
    expect(rows).to_contain_text(re.compile(r"Magpie joins heats? \d"))

    rows.get_by_role("button", name="Take the row with nobody moved").press("Enter")
    expect(director.locator(".undo")).to_contain_text("Magpie joins")
    expect(director.locator("#main")).to_contain_text("Magpie comes in")

    board = browser_page("laptop")
    board.goto(f"{server.address}/board/{code}")
    expect(board.locator("#live")).to_contain_text("Plan 1")
    channels = _channels(board)
    _publish(director, number=2)
    expect(board.locator("#live")).to_contain_text("Plan 2")
    after = _channels(board)
    assert len(after.pop("Magpie")) == 2
    assert after == channels

    _withdraw(director, "Rook")


def _withdraw(page: Page, callsign: str) -> None:
    """Which of the two buttons was pressed has to arrive."""
    page.keyboard.press("d")
    page.get_by_label("Flies no more").select_option(label=callsign)
    page.get_by_role("button", name="Withdraws").click()
    rows = page.get_by_role("region", name="What it costs")
    expect(rows).to_contain_text(f"{callsign} withdraws.", timeout=PLANNED_WITHIN_MS)


def _check_in(page: Page, server: FieldServer, code: str, *lines: str) -> None:
    page.goto(f"{server.address}/days/{code}/check-in")
    for line in lines:
        page.locator("#line").fill(line)
        page.keyboard.press("Enter")
        expect(page.locator(".answer")).to_contain_text(f"Set {line.split()[0]} to")


def _channels(board: Page) -> dict[str, list[str]]:
    """The MHz that the board shows of each pilot, heat after heat."""
    shown = re.sub(r"\s+", " ", board.locator(".board__rounds").inner_text())
    found: dict[str, list[str]] = {}
    for callsign, mhz in re.findall(r"(\w+) (?:[A-Z]\d )?(5\d{3}) ", shown):
        found.setdefault(callsign, []).append(mhz)
    return found
