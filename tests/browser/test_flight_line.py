"""The flight line in a real browser: keys, EVERYBODY LAND while typing, two directors, a server that dies."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from server.services.flight_line import everybody_land, line_of
from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.browser.field_server import FieldServer
from tests.factories import NOW, make_day, make_pilot, make_signed_in
from tests.factories_snapshot import publish
from tests.services.called_days import press, released, stages
from tests.waiting import until

TOLD_WITHIN_MS = 10_000
TOKEN = "token-of-the-director"
HOLD_THE_QUESTION = """() => {
  const ask = window.fetch;
  const held = new Promise((letGo) => { window.letGo = letGo; });
  window.fetch = async (address, ...more) => {
    if (address === "/health") await held;
    return ask(address, ...more);
  };
}"""
"""Whether the server is there, which a press asks first, is asked once `letGo()` is called."""


class Field:
    """A day with Wren and Otter in heat 1 and Rook in heat 2."""

    def __init__(self, server: FieldServer) -> None:
        self.server = server
        self.database = Database(server.database_file)
        with self.database.write() as session:
            self.day = make_day(session)
            wren, otter, rook = (make_pilot(session, self.day, name) for name in ("Wren", "Otter", "Rook"))
            publish(session, self.day, [[(wren, "R1"), (otter, "R8")], [(rook, "R1")]])
            now = datetime.now(UTC)
            make_signed_in(session, f"{TOKEN}{self.day.code}", at=now)
        self.slot = f"{server.address}/slot/{wren.link_token}"
        self.line = f"{server.address}/days/{self.day.code}/line"

    def sign_in(self, page: Page) -> Page:
        value = f"{TOKEN}{self.day.code}"
        page.context.add_cookies([{"name": COOKIE, "value": value, "url": self.server.address}])
        return page

    def is_called_down(self) -> bool:
        with self.database.read() as session:
            return line_of(session, self.day).everybody_land_at is not None

    def stages(self) -> dict[str, str]:
        with self.database.read() as session:
            return stages(session, self.day)


@pytest.fixture
def field(one_server: FieldServer) -> Iterator[Field]:
    if not one_server.is_running:  # the test before killed it
        one_server.start()
    field = Field(one_server)
    yield field
    field.database.close()


@pytest.fixture
def director(browser_page: Callable[[str], Page], field: Field) -> Page:
    page = field.sign_in(browser_page("laptop"))
    page.goto(field.line)
    expect(page.locator("body")).to_have_attribute("data-state", "live", timeout=TOLD_WITHIN_MS)
    return page


def key(page: Page):
    """The button of the one key."""
    return page.locator('[aria-keyshortcuts="n"]')


def test_one_key_sees_a_heat_through_and_the_phone_follows(director, browser_page, field):
    phone = browser_page("phone")
    phone.goto(field.slot)
    expect(phone.locator(".when-live")).to_contain_text("READY")
    steps = [
        ("Call heat 1", "POWER UP"),
        ("Wren: picture is clear", "POWER UP"),
        ("Otter: picture is clear", "POWER UP"),
        ("Release heat 1: Wren, Otter", "FLY"),
        ("Land heat 1", "LAND"),
        ("Landed: Wren, Otter", "DISARM THEN POWER OFF"),
        ("Wren, Otter off. Heat 1 is over, counts as flown", "STAY OFF"),
    ]
    for said, word in steps:
        expect(key(director)).to_have_text(said, timeout=TOLD_WITHIN_MS)
        director.keyboard.press("n")
        expect(phone.locator(".when-live .plate > span")).to_have_text(word, timeout=TOLD_WITHIN_MS)
    expect(key(director)).to_have_text("Call heat 2", timeout=TOLD_WITHIN_MS)


def test_a_press_on_its_way_is_never_taken_for_the_next_step(director, browser_page, field):
    other = field.sign_in(browser_page("laptop"))
    other.goto(field.line)
    with other.expect_event("framenavigated"):
        other.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    director.evaluate(HOLD_THE_QUESTION)
    director.keyboard.press("n")
    expect(key(other)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    with other.expect_event("framenavigated"):
        other.keyboard.press("n")
    expect(key(director)).to_have_text("Otter: picture is clear", timeout=TOLD_WITHIN_MS)
    with director.expect_event("framenavigated"):
        director.evaluate("letGo()")
    expect(director.locator("#main")).to_contain_text("Somebody", timeout=TOLD_WITHIN_MS)
    assert field.stages()["Otter"] == "power up"


def test_everybody_land_acts_at_once_while_typing_and_loses_nothing(director, browser_page, field):
    phone = browser_page("phone")
    phone.goto(field.slot)
    director.goto(field.line.replace("/line", "/check-in"))
    line = director.locator("#line, input[name=line]").first
    line.fill("Gull R 25")
    line.press("F9")
    alarm = director.locator("#everybody-land")
    expect(alarm).to_be_visible(timeout=TOLD_WITHIN_MS)
    expect(phone.locator(".everybody-land h2")).to_have_text("EVERYBODY LAND", timeout=TOLD_WITHIN_MS)
    expect(alarm.get_by_label("Say why")).to_be_focused()
    director.keyboard.type("A helicopter.")
    alarm.get_by_role("button", name="Say it").click()
    expect(phone.locator(".everybody-land")).to_contain_text("A helicopter.", timeout=TOLD_WITHIN_MS)
    alarm.get_by_role("button", name="Lift EVERYBODY LAND").click()
    expect(alarm).to_be_hidden(timeout=TOLD_WITHIN_MS)
    expect(phone.locator(".everybody-land")).to_have_count(0, timeout=TOLD_WITHIN_MS)
    expect(line).to_have_value("Gull R 25")


def lift(director):
    return director.locator("#line-bar").get_by_role("button", name="Lift EVERYBODY LAND")


def test_everybody_land_gets_through_beside_as_many_live_pages_as_a_browser_has_connections(director, field):
    for _ in range(5):  # six to one server: common practice of browsers, no source
        director.context.new_page().goto(field.line)
    director.bring_to_front()
    director.keyboard.press("F9")
    until(lambda: field.is_called_down() or director.wait_for_timeout(100), patience_s=TOLD_WITHIN_MS / 1000)
    expect(director.locator("body")).to_have_attribute("data-state", "live", timeout=TOLD_WITHIN_MS)


def test_at_the_flight_line_what_is_typed_under_everybody_land_is_the_reason_and_no_key(director, field):
    director.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    director.keyboard.press("F9")
    expect(key(director)).to_have_text(re.compile("is over"), timeout=TOLD_WITHIN_MS)
    director.keyboard.type("unwell, wait")
    expect(key(director)).to_have_text(re.compile("is over"))
    director.keyboard.press("Enter")
    expect(director.locator("#everybody-land-reason")).to_have_text("unwell, wait", timeout=TOLD_WITHIN_MS)
    director.keyboard.press("n")
    expect(lift(director)).to_be_visible(timeout=TOLD_WITHIN_MS)
    director.keyboard.press("n")  # no key lifts it
    director.wait_for_timeout(1000)
    expect(lift(director)).to_be_visible()


def test_a_page_that_comes_in_the_middle_of_the_reason_takes_the_rest_of_it(director, field):
    director.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    director.keyboard.press("F9")
    expect(key(director)).to_have_text(re.compile("is over"), timeout=TOLD_WITHIN_MS)
    director.reload()
    expect(director.get_by_label("Say why")).to_be_focused()
    director.keyboard.type("unwell")
    expect(key(director)).to_have_text(re.compile("is over"))


def test_enter_without_a_reason_gives_the_keys_back_to_the_flight_line(director, field):
    director.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    director.keyboard.press("F9")
    expect(key(director)).to_have_text(re.compile("is over"), timeout=TOLD_WITHIN_MS)
    director.keyboard.press("Enter")
    director.keyboard.press("n")
    expect(lift(director)).to_be_visible(timeout=TOLD_WITHIN_MS)


def test_the_hours_of_the_day_move_on_by_themselves(director, field):
    later = "<h2>The day at 16:59</h2>"
    director.route(
        "**/line/clock", lambda route: route.fulfill(body=later, content_type="text/html; charset=utf-8")
    )
    director.clock.install()
    director.goto(field.line)
    director.clock.fast_forward("00:20")
    expect(director.locator("#day-clock")).to_have_text("The day at 16:59", timeout=TOLD_WITHIN_MS)


def test_another_directors_press_shows_on_every_page(director, field):
    director.goto(field.line.replace("/line", "/logbook"))
    with field.database.write() as session:
        everybody_land(session, session.merge(field.day), "Storm.", "director", NOW)
    expect(director.locator("#everybody-land-reason")).to_have_text("Storm.", timeout=TOLD_WITHIN_MS)


def test_of_two_directors_at_once_the_second_is_told_and_nothing_is_done_twice(director, browser_page, field):
    second = field.sign_in(browser_page("laptop"))
    second.route("**/stream", lambda route: route.abort())
    second.route("**/line/state", lambda route: route.abort())  # its page stays as it was
    second.goto(field.line)
    director.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    key(second).click()
    expect(second.get_by_text("Heat 1 is powering up now")).to_be_visible()
    assert field.stages() == {"Wren": "power up", "Otter": "waiting"}


def test_mid_flight_a_phone_without_its_server_asks_the_director_and_comes_back(browser_page, field):
    with field.database.write() as session:
        released(session, session.merge(field.day))
    phone = browser_page("phone")
    phone.goto(field.slot)
    expect(phone.locator(".when-live")).to_contain_text("FLY")
    field.server.kill()
    expect(phone.locator("body")).to_have_attribute("data-state", "stale", timeout=15_000)
    expect(phone.locator(".when-live")).to_be_hidden()
    expect(phone.locator(".when-stale .plate > span")).to_have_text("ASK THE DIRECTOR")
    field.server.start()
    expect(phone.locator(".when-live")).to_be_visible(timeout=15_000)
    expect(phone.locator(".when-live")).to_contain_text("FLY")
    assert field.stages() == {"Wren": "flying", "Otter": "flying"}


def test_what_is_unfolded_stays_so_while_others_press(director, field):
    director.keyboard.press("n")
    expect(key(director)).to_have_text("Wren: picture is clear", timeout=TOLD_WITHIN_MS)
    director.locator("summary", has_text="Stop heat 1").click()
    director.get_by_label("Why", exact=True).fill("Rain")
    with field.database.write() as session:
        day = session.merge(field.day)
        press(session, day, "Wren", "picture is clear")
    field.server.ask(f"/announce/{field.day.id}")
    expect(key(director)).to_have_text("Otter: picture is clear", timeout=TOLD_WITHIN_MS)
    expect(director.get_by_label("Why", exact=True)).to_have_value("Rain")
    expect(director.get_by_label("Why", exact=True)).to_be_visible()


def test_the_times_of_the_day_follow_a_message_and_stay_unfolded(director, field):
    director.locator("#timeline-times > summary").click()
    expect(director.locator("#timeline-times tbody tr").first).to_contain_text("next")
    with field.database.write() as session:
        released(session, session.merge(field.day))
    field.server.ask(f"/announce/{field.day.id}")
    expect(director.locator("#timeline-times tbody tr").first).to_contain_text("up", timeout=TOLD_WITHIN_MS)
    expect(director.locator("#timeline-times tbody tr").first).to_be_visible()
    expect(director.locator(".timeline .picture__wide .heat-box--up")).to_be_visible()


def test_nothing_lies_outside_the_screen(browser_page, field):
    with field.database.write() as session:
        released(session, session.merge(field.day))
    for screen in ("phone", "laptop"):
        page = field.sign_in(browser_page(screen))
        for address in (field.line, field.slot):
            page.goto(address)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (screen, address)


def test_the_sound_asks_for_a_tap_and_then_asks_no_more(browser_page, field):
    phone = browser_page("phone")
    phone.goto(field.slot)
    ask = phone.get_by_role("button", name=re.compile("sound of EVERYBODY LAND"))
    expect(ask).to_be_visible()
    ask.tap()
    expect(ask).to_be_hidden(timeout=TOLD_WITHIN_MS)
