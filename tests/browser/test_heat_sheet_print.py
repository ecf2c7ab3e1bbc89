"""The heat sheet's page as the browser prints it."""

import io

import pytest
from pypdf import PdfReader

from server.main import create_app
from server.settings import Settings
from server.web.dependencies import COOKIE
from tests.factories import NOW, make_day, make_pilot, make_signed_in
from tests.factories_snapshot import publish
from tests.serving import serving

LABELS = ("R1", "R2", "R4", "F2", "E7", "R8", "F6", "A1")
PLAN_LINE = "Plan 1, published 16 May 2026, 10:30 (Europe/Dublin)"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A page with eight heats of eight pilots, whose callsigns are as long as they may be."""
    app = create_app(Settings(data=tmp_path_factory.mktemp("data")), clock=lambda: NOW)
    with app.state.database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000")
        pilots = [make_pilot(session, day, f"{'W' * 22}{number:02}") for number in range(64)]
        publish(session, day, [list(zip(pilots[n : n + 8], LABELS, strict=True)) for n in range(0, 64, 8)])
        make_signed_in(session, "token")
    with serving(app) as root:
        yield f"{root}/days/{day.code}/heat-sheet"


@pytest.fixture(scope="module")
def page(browser, address):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    context.add_cookies([{"name": COOKIE, "value": "token", "url": address}])
    yield context.new_page()
    context.close()


def printed(page, address, paper):
    page.goto(address)
    pages = PdfReader(io.BytesIO(page.pdf(format=paper))).pages
    return pages, [" ".join(one.extract_text().split()) for one in pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("by", ["heat", "channel"])
def test_every_printed_page_bears_the_plan_and_its_time(page, address, by, paper):
    _, texts = printed(page, f"{address}?by={by}", paper)
    assert len(texts) > 1
    for number, text in enumerate(texts, start=1):
        assert PLAN_LINE in text
        assert f"Page {number} of {len(texts)}" in text
    assert "What holds now: the board" in texts[0]
    assert "Take the propellers off" in texts[0]


def test_a_heat_stays_on_one_page_with_all_its_pilots(page, address):
    _, texts = printed(page, address, "A4")
    for heat in range(1, 9):
        (text,) = (one.replace(" ", "") for one in texts if f"Heat {heat} Round" in one)
        numbers = range(8 * heat - 8, 8 * heat)
        assert all(f"{'W' * 22}{number:02}{LABELS[number % 8]}5" in text for number in numbers)


def test_what_can_be_pressed_stays_on_the_screen(page, address):
    _, texts = printed(page, address, "A4")
    assert not any(words in "".join(texts) for words in ("Get the PDF", "Check-in", "By channel", "JSON"))


def test_a_phone_shows_the_page_without_moving_sideways(page, address):
    page.goto(address)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
