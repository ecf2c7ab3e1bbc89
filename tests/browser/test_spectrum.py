"""Stepping a pilot through channels on the drawing of a heat, by keyboard and by touch."""

import re

import pytest
from playwright.sync_api import expect

from server.main import create_app
from server.settings import Settings
from server.web.dependencies import COOKIE
from tests.factories import NOW, make_signed_in
from tests.services.planned_days import day_with_pilots, plan_at_once
from tests.serving import serving


@pytest.fixture
def address(tmp_path):
    """A draft with Wren on R1, Otter on R2 and Rook on R3 in heat 1."""
    app = create_app(Settings(data=tmp_path), clock=lambda: NOW)
    with app.state.database.write() as session:
        plan_at_once(session, day_with_pilots(session, "Wren", "Otter", "Rook", aircraft=3, code="tern"))
        make_signed_in(session, "token")
    with serving(app) as root:
        yield f"{root}/days/tern/plan"


def opened(browser_page, address, screen):
    page = browser_page(screen)
    page.context.add_cookies([{"name": COOKIE, "value": "token", "url": address}])
    page.goto(address)
    page.get_by_text("Spectrum of heat 1", exact=True).click()
    expect(page.locator(".chart")).to_be_visible()
    return page


def test_arrows_step_a_mast_escape_leaves_and_enter_keeps(browser_page, address):
    page = opened(browser_page, address, "laptop")
    mast = page.locator(".chart__wide").get_by_role("slider", name="Rook")
    mast.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".spectrum__trial")).to_contain_text("On trial: Rook on B1 5733, not R3 5732")
    expect(mast).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator(".spectrum__trial")).not_to_contain_text("On trial")
    expect(mast).to_be_focused()
    expect(mast).to_have_attribute("aria-valuenow", "5732")

    page.keyboard.press("ArrowRight")
    expect(mast).to_have_attribute("aria-valuenow", "5733")
    expect(page.locator("#heat-1 .plan-table")).to_contain_text("5732")
    page.keyboard.press("Enter")
    expect(page.locator(".undo")).to_contain_text("Rook moves to B1 5733.")
    expect(page.locator("#heat-1 .plan-table")).to_contain_text("5733")
    expect(mast).to_be_focused()
    page.keyboard.press("u")
    expect(page.locator("#heat-1 .plan-table")).to_contain_text("5732")


def test_at_the_last_channel_an_arrow_does_nothing(browser_page, address):
    page = opened(browser_page, address, "laptop")
    mast = page.locator(".chart__wide").get_by_role("slider", name="Wren")
    mast.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowRight")
    expect(mast).to_have_attribute("aria-valuenow", "5665")
    expect(page.locator(".spectrum__trial")).to_contain_text("Wren on E3 5665")


def test_a_finger_steps_with_the_buttons_which_stay_where_they_are(browser_page, address):
    page = opened(browser_page, address, "phone")
    up = page.get_by_role("link", name=re.compile("Otter one step up"))
    up.scroll_into_view_if_needed()
    before = up.bounding_box()
    up.tap()
    expect(page.locator(".spectrum__trial")).to_contain_text("On trial: Otter on")
    assert up.bounding_box() == before
    assert before["width"] >= 44
    assert before["height"] >= 44
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.get_by_role("link", name="Leave it as it is").tap()
    expect(page.locator(".spectrum__trial")).not_to_contain_text("On trial")
