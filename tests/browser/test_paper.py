"""The page of papers, as it is used by keyboard and on a phone."""

import pytest
from playwright.sync_api import expect

from server.main import create_app
from server.settings import Settings
from server.web.dependencies import COOKIE
from tests.factories import NOW, make_day, make_pilot, make_signed_in
from tests.factories_snapshot import publish
from tests.serving import serving


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    app = create_app(Settings(data=tmp_path_factory.mktemp("data")), clock=lambda: NOW)
    with app.state.database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000")
        pilots = [make_pilot(session, day, "W" * 24), make_pilot(session, day, "Otter \U0001e2d0")]
        publish(session, day, [[(pilots[0], "R1"), (pilots[1], "R8")]])
        make_signed_in(session, "token")
    with serving(app) as root:
        yield f"{root}/days/{day.code}/paper"


@pytest.fixture
def page(browser, address):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    context.add_cookies([{"name": COOKIE, "value": "token", "url": address}])
    yield context.new_page()
    context.close()


def test_a_choice_by_keyboard_is_kept_at_once_and_the_focus_stays(page, address):
    page.goto(address)
    page.get_by_label("A4").focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("1 page, Letter").first).to_be_visible()
    expect(page.get_by_label("Letter")).to_be_focused()
    page.reload()
    expect(page.get_by_label("Letter")).to_be_checked()


def test_the_last_section_cannot_be_taken_away_without_a_word(page, address):
    page.goto(address)
    for section in ("By heat", "By pilot", "By channel"):
        page.get_by_label(section).uncheck()
        page.wait_for_load_state("networkidle")
    expect(page.get_by_text("Choose at least one section")).to_be_visible()


def test_a_phone_shows_the_papers_without_moving_sideways(page, address):
    page.goto(address)
    expect(page.get_by_text("cannot be printed here")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
