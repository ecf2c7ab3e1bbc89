"""The look of the screens in a real browser: kept on the device, and roomy outdoors."""

from playwright.sync_api import expect

from tests.browser.screens import DIRECTOR, demo_day, sign_in

ROOM_FOR_THE_HEAD = 1 / 6  # of a phone; common practice, no source


def test_a_look_that_is_chosen_while_no_server_answers_is_there_on_the_next_page(server, browser_page):
    page = browser_page("phone")
    page.goto(f"{server.address}/sign-in")
    server.kill()
    page.get_by_role("button", name="Dark").click()
    expect(page.locator("#look-dark")).to_have_attribute("media", "screen")
    server.start()
    page.goto(f"{server.address}/guide")
    expect(page.locator("#look-dark")).to_have_attribute("media", "screen")
    expect(page.get_by_role("button", name="Dark")).to_have_attribute("aria-pressed", "true")


def test_outdoors_the_head_of_the_directors_pages_leaves_a_phone_to_the_page(field, browser_page):
    page = browser_page("phone")
    for address in field.make(demo_day, *DIRECTOR):
        sign_in(page, address, "outdoor")
        page.goto(address)
        box = page.locator(".masthead").bounding_box()
        assert box["height"] <= ROOM_FOR_THE_HEAD * page.viewport_size["height"], address
