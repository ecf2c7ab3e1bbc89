"""Board and slot in a real browser, on a server that is killed, frozen and started again."""

import mimetypes
import re
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, Route, expect

from server.storage import pilots
from server.storage.session import Database
from server.web.static_files import content_of
from tests.browser.field_server import FieldServer
from tests.factories import make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import publish

STALE = re.compile(r"^May be out of date since \d\d:\d\d:\d\d")
WITHIN_A_SECOND = 1000


class Field:
    """A day with Wren and Otter in plan 1, and the means to change it behind the pages' backs."""

    def __init__(self, server: FieldServer) -> None:
        self.server = server
        self.database = Database(server.database_file)
        with self.database.write() as session:
            self.day = make_day(session)
            self.wren = make_pilot(session, self.day, "Wren")
            self.otter = make_pilot(session, self.day, "Otter")
            publish(session, self.day, [[(self.wren, "R1"), (self.otter, "R8")]])
        self.board = f"/board/{self.day.code}"
        self.slot = f"/slot/{self.wren.link_token}"

    def replan(self, channel: str | int) -> None:
        """Publish a plan that has Wren on another channel, and tell nobody."""
        with self.database.write() as session:
            publish(session, self.day, [[(self.wren, channel), (self.otter, "R8")]])

    def announce(self) -> None:
        assert self.server.ask(f"/announce/{self.day.id}").status_code == 200

    def publish(self, channel: str | int) -> None:
        self.replan(channel)
        self.announce()


@pytest.fixture
def field(one_server: FieldServer) -> Iterator[Field]:
    if not one_server.is_running:  # the test before killed it
        one_server.start()
    field = Field(one_server)
    yield field
    field.database.close()


@pytest.fixture
def board(browser_page, field) -> Page:
    return opened(browser_page("laptop"), field.server.address + field.board)


@pytest.fixture
def slot(browser_page, field) -> Page:
    return opened(browser_page("phone"), field.server.address + field.slot)


def opened(page: Page, address: str) -> Page:
    page.goto(address)
    expect_state(page, "live")
    page.evaluate("window.wasNotLoadedAgain = true")
    return page


def expect_state(page: Page, state: str, timeout: int = 15_000) -> None:
    expect(page.locator("body")).to_have_attribute("data-state", state, timeout=timeout)


def wren_on(page: Page):
    """Where the page says that Wren flies."""
    return page.locator("[data-key='1-Wren'] .channel, [data-key=channel]").first


def out_of_the_cache(route: Route) -> None:
    name = urlsplit(route.request.url).path.removeprefix("/static/")
    route.fulfill(body=content_of(name), content_type=mimetypes.guess_type(name)[0])


def was_not_loaded_again(page: Page) -> bool:
    return page.evaluate("window.wasNotLoadedAgain === true")


def test_board_and_slot_change_within_a_second_of_publishing(field, board, slot):
    field.publish("F4")
    expect(wren_on(board)).to_contain_text("5800", timeout=WITHIN_A_SECOND)
    expect(wren_on(slot)).to_contain_text("5800", timeout=WITHIN_A_SECOND)
    assert was_not_loaded_again(board)
    assert was_not_loaded_again(slot)


def test_one_quiet_mark_stands_on_what_changed(field, board):
    field.publish("F4")
    expect(board.locator("[data-key='1-Wren']")).to_have_attribute("data-changed", "")
    assert board.locator(".heat__slot[data-changed]").count() == 1


def test_a_killed_server_leaves_pages_readable_and_marked_and_they_catch_up(field, board, slot):
    field.server.kill()
    for page in (board, slot):
        expect_state(page, "stale")
        expect(page.locator("#live-line-text")).to_have_text(STALE)
        expect(wren_on(page)).to_contain_text("5658")
    field.replan("F4")  # while nobody listens
    field.server.start()
    for page in (board, slot):
        expect(wren_on(page)).to_contain_text("5800", timeout=15_000)
        expect_state(page, "live")
        assert was_not_loaded_again(page)


def test_in_doubt_a_transmitter_not_known_to_be_on_stays_off(field, slot):
    expect(slot.locator(".when-live")).to_contain_text("READY")
    expect(slot.locator(".when-live")).to_contain_text("Set the channel")
    field.server.kill()
    expect_state(slot, "stale")
    expect(slot.locator(".when-live")).to_be_hidden()
    expect(slot.locator(".when-stale")).to_contain_text("STAY OFF")
    expect(slot.locator(".when-stale")).to_contain_text(re.compile(r"out of date since \d\d:\d\d:\d\d\."))


def test_a_frozen_server_is_noticed_too(field, slot):
    field.server.freeze()
    expect_state(slot, "stale")
    field.server.thaw()
    expect_state(slot, "live")
    field.publish("F4")
    expect(wren_on(slot)).to_contain_text("5800")


def test_a_late_message_never_wins(field, slot):
    late = field.server.ask(f"{field.slot}/state").json()
    field.publish("F4")
    expect(wren_on(slot)).to_contain_text("5800")
    slot.route("**/state", lambda route: route.fulfill(json=late))
    slot.route("**/stream", lambda route: route.abort())
    field.server.kill()  # so that only the late answer is to be had
    slot.wait_for_timeout(2500)
    assert "5800" in wren_on(slot).text_content()


def test_where_no_stream_comes_through_the_page_asks_from_time_to_time(browser_page, field):
    page = browser_page("phone")
    page.route("**/stream", lambda route: route.fulfill(status=503))
    page.goto(field.server.address + field.slot)
    expect(page.locator("#live-line-text")).to_have_text(re.compile("^Updates every"), timeout=15_000)
    field.replan("F4")
    expect(wren_on(page)).to_contain_text("5800", timeout=15_000)
    expect_state(page, "live")


def test_a_page_out_of_the_browsers_cache_shows_the_last_state_it_had_and_says_so(field, slot):
    old = field.server.ask(field.slot).text
    field.publish("F4")
    expect(wren_on(slot)).to_contain_text("5800")
    field.server.kill()
    slot.route(f"**{field.slot}", lambda route: route.fulfill(body=old, content_type="text/html"))
    slot.route("**/static/**", out_of_the_cache)
    slot.goto(field.server.address + field.slot)
    expect(wren_on(slot)).to_contain_text("5800")
    expect_state(slot, "stale")
    expect(slot.locator("#live-line-text")).to_have_text(STALE)


def test_a_page_out_of_sight_holds_no_connection_and_catches_up_when_seen(field, slot):
    def watching(page_is_hidden: bool) -> None:
        slot.evaluate(
            """(hidden) => {
                Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
                document.dispatchEvent(new Event("visibilitychange"));
            }""",
            page_is_hidden,
        )

    streams = []
    slot.on("request", lambda request: streams.append(request) if "/stream" in request.url else None)
    watching(True)
    field.publish("F4")
    slot.wait_for_timeout(1500)
    expect(wren_on(slot)).to_contain_text("5658")
    assert streams == []
    watching(False)
    expect(wren_on(slot)).to_contain_text("5800")
    expect_state(slot, "live")


def test_a_replaced_link_turns_the_open_page_into_the_kind_one(field, slot):
    with field.database.write() as session:
        pilots.by_id(session, field.day.id, field.wren.id).link_token = "a-new-one"
        make_logbook_entry(session, field.day)
    field.announce()
    expect(slot.get_by_role("heading", name="This link shows no slot")).to_be_visible()
    expect(slot.locator("body")).to_contain_text("STAY OFF")


def test_nothing_lies_outside_the_screen(browser_page, field):
    for screen in ("phone", "laptop", "big screen"):
        page = browser_page(screen)
        for address in (field.board, field.slot, "/slot/nobody", "/board/none"):
            page.goto(field.server.address + address)
            beyond = page.evaluate(
                "document.documentElement.scrollWidth > document.documentElement.clientWidth"
            )
            assert not beyond, (screen, address)


def test_channel_and_word_fill_the_top_half_of_a_phone(slot):
    half = slot.viewport_size["height"] / 2
    channel, word = (slot.locator(where).bounding_box() for where in ("[data-key=channel]", ".when-live"))
    sizes = slot.evaluate(
        """() => [".channel__label", ".channel__mhz"].map(
            (where) => getComputedStyle(document.querySelector(where)).fontSize)"""
    )
    assert sizes[0] == sizes[1]
    assert float(sizes[0].removesuffix("px")) >= 100
    assert channel["y"] + channel["height"] < half
    assert word["y"] + word["height"] < half * 1.15


def test_twenty_changes_in_a_row_end_with_the_last(field, board):
    for number in range(20):
        field.publish(5700 + number)
    last = time.monotonic()
    expect(wren_on(board)).to_contain_text("5719", timeout=2000)
    assert time.monotonic() - last < 2
