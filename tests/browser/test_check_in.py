"""The desk by keyboard alone, and a phone whose answer is lost on the way."""

import re
from collections.abc import Callable

import httpx
import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.field_server import FieldServer

USUAL = "Wren ABEFR 25,200,600 r"
KEYSTROKES_ALLOWED = 30
RETRIED_WITHIN_MS = 15_000


@pytest.fixture
def desk(server: FieldServer, browser_page: Callable[[str], Page]) -> Page:
    """The director's browser on the desk of a new day."""
    page = browser_page("laptop")
    page.goto(f"{server.address}/sign-in")
    spoken = re.search(r"Pass phrase:\s+(.+)", server.said)
    assert spoken is not None
    page.get_by_label("Pass phrase").fill(spoken[1].strip())
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/days")
    page.get_by_label("Name").fill("Heron Hollow day")
    page.get_by_role("button", name="Make the field day").click()
    page.wait_for_url(re.compile("/days/[a-z]{4}/"))
    page.goto(f"{server.address}/days/{code_of(page)}/check-in")
    return page


def code_of(page: Page) -> str:
    found = re.search("/days/([a-z]{4})", page.url)
    assert found is not None
    return found[1]


def press_all(page: Page, text: str) -> int:
    """Type key by key; the number of keystrokes, a held shift counted for each sign that needs one."""
    for sign in text:
        page.keyboard.press(sign if sign != " " else "Space")
    page.keyboard.press("Enter")
    return len(text) + sum(sign.isupper() or sign in '"?:' for sign in text) + 1


def test_a_usual_pilot_takes_thirty_keystrokes_and_no_mouse(desk: Page) -> None:
    line = desk.locator("#line")
    expect(line).to_be_focused()
    assert press_all(desk, USUAL) <= KEYSTROKES_ALLOWED
    expect(desk.locator(".answer")).to_contain_text("Set Wren to")
    expect(line).to_be_focused()
    expect(line).to_have_value("")
    assert press_all(desk, "Otter =Wren") <= KEYSTROKES_ALLOWED
    expect(desk.locator(".answer")).to_contain_text("Set Otter to")
    expect(desk.locator("#roster tbody tr")).to_have_count(2)


def test_the_line_says_what_it_understands_while_it_is_typed(desk: Page) -> None:
    expect(desk.locator("#line")).to_be_focused()
    desk.keyboard.type("Kit 5:3 25")
    expect(desk.locator("#echo")).to_contain_text("R3 5732 MHz on push-button gear 5:3")
    desk.keyboard.type(" R9")
    expect(desk.locator("#echo")).to_contain_text("write R1 to R8")
    desk.keyboard.press("Enter")
    expect(desk.locator("#line-error")).to_contain_text("write R1 to R8")
    expect(desk.locator("#line")).to_have_value("Kit 5:3 25 R9")
    expect(desk.locator("#line")).to_be_focused()
    expect(desk.locator("#roster tbody tr")).to_have_count(0)


def test_enter_in_the_line_adds_also_while_the_fields_are_open(desk: Page) -> None:
    desk.locator("#line").fill("Wren R 25")
    desk.get_by_role("button", name="Go on in fields").press("Enter")
    expect(desk.get_by_label("Callsign", exact=True)).to_be_focused()
    desk.keyboard.type("tit")
    expect(desk.get_by_label("Callsign", exact=True)).to_have_value("Wrentit")
    desk.keyboard.press("Shift+Tab")
    expect(desk.get_by_role("link", name="Back to the one line")).to_be_focused()
    desk.get_by_label("Callsign", exact=True).press("Escape")
    expect(desk.locator("#line")).to_be_focused()
    press_all(desk, "Otter Q7")
    expect(desk.locator("#line-error")).to_contain_text("Q7")
    expect(desk.locator("#line")).to_have_value("Otter Q7")
    desk.get_by_role("button", name="Go on in fields").click()
    expect(desk.get_by_label("Callsign", exact=True)).to_have_value("Otter")
    desk.keyboard.press("Escape")
    press_all(desk, "Otter R 25")
    expect(desk.locator(".answer")).to_contain_text("Set Otter to")


def test_half_a_line_is_still_there_after_a_look_at_another_page(desk: Page) -> None:
    line, check_in = desk.locator("#line"), desk.url
    line.fill("Wren ABE 25")
    desk.goto(check_in.replace("check-in", "site"))
    desk.goto(check_in)
    expect(line).to_have_value("Wren ABE 25")
    line.press("Enter")
    expect(desk.locator("#roster tbody tr")).to_have_count(1)
    expect(line).to_have_value("")
    desk.reload()
    expect(line).to_have_value("")


def test_rows_are_reached_and_undone_by_keyboard(desk: Page) -> None:
    press_all(desk, "Wren R 25")
    expect(desk.locator(".answer")).to_contain_text("Set Wren to")
    desk.evaluate("document.activeElement.blur()")
    desk.keyboard.press("ArrowDown")
    expect(desk.get_by_role("link", name="Wren", exact=True)).to_be_focused()
    for _ in range(4):  # link, bench, no-show, withdraw
        desk.keyboard.press("Tab")
    desk.keyboard.press("Enter")
    back = desk.get_by_role("button", name="Bring back")
    expect(back).to_be_focused()
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("button", name="Withdraw")).to_be_focused()
    desk.keyboard.press("n")
    expect(desk.locator("#line")).to_be_focused()


def test_a_phone_whose_answer_was_lost_sends_again_and_is_one_pilot(
    desk: Page, server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    phone = browser_page("phone")
    code = code_of(desk)
    losses = []

    def lose_the_first_answer(route: Route) -> None:
        if route.request.method == "POST" and not losses:
            here = f"http://127.0.0.1:{server.port}"
            headers = {"Origin": here, "Content-Type": "application/x-www-form-urlencoded"}
            arrived = httpx.post(f"{here}/join/{code}", content=route.request.post_data, headers=headers)
            losses.append(arrived.status_code)
            route.abort()
        else:
            route.continue_()

    phone.route(f"**/join/{code}", lose_the_first_answer)
    phone.goto(f"{server.address}/join/{code}")
    phone.get_by_label("The callsign you fly under").fill("Magpie")
    phone.get_by_role("radio", name=re.compile("R only")).check()
    phone.get_by_role("button", name="Check in").click()
    expect(phone.locator("#join-note")).to_contain_text("It is kept on this phone and sent again by itself.")
    assert losses == [303]
    expect(phone.locator("#join")).to_contain_text("Magpie: checked in", timeout=RETRIED_WITHIN_MS)
    desk.reload()
    expect(desk.locator("#roster tbody tr")).to_have_count(1)


def test_a_phone_keeps_what_was_typed_over_a_reload(
    desk: Page, server: FieldServer, browser_page: Callable[[str], Page]
) -> None:
    phone = browser_page("phone")
    phone.goto(f"{server.address}/join/{code_of(desk)}")
    phone.get_by_label("The callsign you fly under").fill("Magpie")
    phone.get_by_role("checkbox", name="600").check()
    made = phone.locator("[name=join_id]").input_value()
    phone.reload()
    expect(phone.get_by_label("The callsign you fly under")).to_have_value("Magpie")
    expect(phone.get_by_role("checkbox", name="600")).to_be_checked()
    assert phone.locator("[name=join_id]").input_value() == made
