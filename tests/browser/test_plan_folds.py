"""What was unfolded on the channel plan stays so while the director works on."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.field_server import FieldServer
from tests.browser.test_whole_day import PLANNED_WITHIN_MS, _open_the_day, _plan_and_publish


@pytest.fixture
def plan(server: FieldServer, browser_page: Callable[[str], Page]) -> Page:
    """The channel plan of three pilots, published."""
    page = browser_page("laptop")
    code = _open_the_day(page, server)
    page.goto(f"{server.address}/days/{code}/check-in")
    for line in ("Wren all 25 r", "Otter R 25 r", "Rook all 25 r"):
        page.keyboard.type(line)
        page.keyboard.press("Enter")
        expect(page.locator("#roster")).to_contain_text(line.split()[0], timeout=PLANNED_WITHIN_MS)
    _plan_and_publish(page, server, code, number=1)
    page.goto(f"{server.address}/days/{code}/plan")
    return page


def test_a_spectrum_and_the_day_changes_stay_open(plan: Page) -> None:
    plan.locator("#spectrum-1 summary").first.click()
    chart = plan.locator("#spectrum-of-1 svg").first
    expect(chart).to_be_visible()
    plan.locator("#heat-1").get_by_role("link", name="Wren", exact=True).click()
    expect(plan.get_by_text("What takes the margin")).to_be_visible()
    expect(chart).to_be_visible()
    plan.keyboard.press("Escape")
    expect(plan.get_by_text("What takes the margin")).to_have_count(0)
    expect(chart).to_be_visible()

    plan.keyboard.press("d")
    expect(plan.locator("#plan-changes summary").first).to_be_focused()
    plan.get_by_label("Next heat to fly").select_option(label="Heat 2")
    plan.get_by_role("button", name="Set", exact=True).first.click()
    expect(plan.locator("#plan-changes")).to_contain_text("next to fly: heat 2")
    expect(plan.get_by_label("Flies no more")).to_be_visible()


def test_a_refused_press_far_down_the_page_brings_its_reason_into_view(plan: Page) -> None:
    plan.set_viewport_size({"width": 1366, "height": 400})
    other = plan.context.new_page()
    other.goto(plan.url)
    for page in (plan, other):
        page.locator("#heat-1").get_by_role("link", name="Wren", exact=True).click()
    other.get_by_role("button", name="Pin to").click()
    expect(other.get_by_role("button", name="Unpin")).to_be_visible()
    plan.get_by_role("button", name="Take out of heat").click()
    told = plan.locator("#told")
    expect(told).to_contain_text("The draft was changed since this page was loaded.")
    expect(told).to_be_focused()
    expect(told).to_be_in_viewport()
