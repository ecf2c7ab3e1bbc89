"""A small field day from the first sign-in to the paper, in real browsers, with a server that dies on the way."""

import re
from collections.abc import Callable

import pypdf
from playwright.sync_api import Locator, Page, expect

from tests.browser.field_server import FieldServer

LIVE_WITHIN_MS = 1_000
PLANNED_WITHIN_MS = 60_000
"""The first plan on a machine compiles the search."""

DESK_LINES = (
    "Wren ABEFR 25,200 r",
    "Otter R 25 r",
    "Rook ABEF 25,600 r",
    "Sorrel all 25 l",
    "Quill 5:7 25 r",
    "Coot =Wren",
)


def test_a_day_from_check_in_to_paper(server: FieldServer, browser_page: Callable[[str], Page]) -> None:
    director = browser_page("laptop")
    code = _open_the_day(director, server)

    phone = browser_page("phone")
    _join(phone, server, code, "Magpie")
    expect(phone.locator("#live")).to_contain_text("Provisional")

    _check_in_at_the_desk(director, server, code)

    board = browser_page("laptop")
    board.goto(f"{server.address}/board/{code}")
    expect(board.locator("#live")).not_to_contain_text("Heat 1")

    _plan_and_publish(director, server, code, number=1)
    expect(board.locator("#live")).to_contain_text("Heat 1", timeout=LIVE_WITHIN_MS)
    expect(board.locator("#live")).to_contain_text("Magpie")
    expect(phone.locator("#live")).to_contain_text("Heat", timeout=LIVE_WITHIN_MS)
    _phone_says_what_the_board_says(phone, board, "Magpie")

    server.kill()
    expect(phone.locator("body")).to_have_attribute("data-state", "stale", timeout=10_000)
    expect(phone.locator(".slot .when-stale")).to_contain_text("may be out of date since")
    expect(phone.locator(".slot .when-stale")).to_contain_text("STAY OFF")

    server.start()
    expect(phone.locator("body")).to_have_attribute("data-state", "live", timeout=15_000)
    _move_by_hand(director, server, code, "Magpie")
    _publish(director, number=2)
    expect(board.locator("#live")).to_contain_text("Plan 2", timeout=LIVE_WITHIN_MS)
    expect(phone.locator("#live")).to_contain_text("Plan 2 moved you", timeout=LIVE_WITHIN_MS)
    _phone_says_what_the_board_says(phone, board, "Magpie")

    _paper_says_what_the_board_says(director, board, server, code)


def _open_the_day(page: Page, server: FieldServer) -> str:
    page.goto(f"{server.address}/sign-in")
    spoken = re.search(r"Pass phrase:\s+(.+)", server.said)
    assert spoken is not None
    page.get_by_label("Pass phrase").fill(spoken[1].strip())
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/days")
    page.get_by_label("Name").fill("Heron Hollow day")
    page.get_by_role("button", name="Make the field day").click()
    page.wait_for_url(re.compile("/days/[a-z]{4}/"))
    found = re.search("/days/([a-z]{4})/", page.url)
    assert found is not None
    code = found[1]
    page.goto(f"{server.address}/days/{code}/site")
    page.get_by_label("Aircraft in the air").fill("4")
    page.get_by_label("Rounds").fill("2")
    page.get_by_label(re.compile("United States, amateur")).check()
    page.get_by_role("button", name="Save site and rules").click()
    expect(page.locator("#main")).to_contain_text("Saved")
    return code


def _join(page: Page, server: FieldServer, code: str, callsign: str) -> None:
    page.goto(f"{server.address}/join/{code}")
    page.get_by_label("The callsign you fly under").fill(callsign)
    page.get_by_role("radio", name=re.compile("All bands the usual")).check()
    page.get_by_role("checkbox", name="25", exact=True).check()
    page.get_by_role("radio", name=re.compile("Right-hand")).check()
    page.get_by_role("button", name="Check in").click()
    expect(page.locator("#join")).to_contain_text("Provisional")
    page.get_by_role("link", name="Open my page").click()
    page.wait_for_url(re.compile("/slot/"))


def _check_in_at_the_desk(page: Page, server: FieldServer, code: str) -> None:
    page.goto(f"{server.address}/days/{code}/check-in")
    line = page.locator("#line")
    expect(line).to_be_focused()
    for typed in DESK_LINES:
        callsign = typed.split()[0]
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
        expect(page.locator(".answer")).to_contain_text(f"Set {callsign} to")
        expect(page.locator(".answer__channel")).to_contain_text("MHz")
        expect(line).to_be_focused()
    expect(page.locator("#roster")).to_contain_text("Magpie")


def _plan_and_publish(page: Page, server: FieldServer, code: str, number: int) -> None:
    page.goto(f"{server.address}/days/{code}/plan")
    page.get_by_role("button", name="Plan channels").click()
    expect(page.get_by_role("button", name=f"Publish plan {number}")).to_be_visible(timeout=PLANNED_WITHIN_MS)
    _publish(page, number)


def _publish(page: Page, number: int) -> None:
    page.get_by_role("button", name=f"Publish plan {number}").click()
    expect(page.locator("#main")).to_contain_text(f"Plan {number}")


def _move_by_hand(page: Page, server: FieldServer, code: str, callsign: str) -> None:
    """The first other channel that the editor offers."""
    page.goto(f"{server.address}/days/{code}/plan")
    page.get_by_role("link", name=callsign).first.click()
    channel = page.get_by_label("Channel", exact=True)
    chosen = channel.input_value()
    other = next(
        value
        for value in channel.locator("option").evaluate_all("all => all.map(one => one.value)")
        if value not in ("", chosen)
    )
    channel.select_option(other)
    page.get_by_role("button", name="Tune").click()
    expect(page.locator("#main")).to_contain_text(f"{callsign} moves from")


def _row_of(board: Page, callsign: str) -> Locator:
    return board.locator("#live [data-key]", has_text=callsign).first


def _phone_says_what_the_board_says(phone: Page, board: Page, callsign: str) -> None:
    on_board = re.search(r"5\d{3}", _row_of(board, callsign).inner_text())
    assert on_board is not None
    expect(phone.locator(".slot__channel")).to_contain_text(on_board[0], timeout=LIVE_WITHIN_MS)


def _paper_says_what_the_board_says(page: Page, board: Page, server: FieldServer, code: str) -> None:
    page.goto(f"{server.address}/days/{code}/heat-sheet")
    with page.expect_download() as download:
        page.get_by_role("link", name="Get the PDF").click()
    text = "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(download.value.path()).pages)
    words = re.sub(r"\s+", " ", text)
    assert "Plan 2" in words
    slots = re.findall(
        r"(\S+) (?:([A-Z]\d) )?(5\d{3}) ", re.sub(r"\s+", " ", board.locator(".board__rounds").inner_text())
    )
    assert len(slots) == 2 * (len(DESK_LINES) + 1)
    for callsign, _label, mhz in slots:
        assert callsign in words
        assert mhz in words
