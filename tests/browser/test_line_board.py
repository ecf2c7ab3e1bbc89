"""The board on a big screen in a real browser: legible from afar, nothing to scroll, back by itself."""

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import Session

from server.services import flight_line
from server.storage import days
from server.storage.session import Database
from server.storage.tables import FieldDay
from tests.browser.field_server import FieldServer
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat, press, released, stages, step

CHANNELS = ("R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
NAMES = ("Wren", "Biscuit", "Juniper", "Sorrel", "Magpie", "Otter", "Pascal", "Quill", "Rook", "Saffron")
LONG = ("Wandering Albatross XXIV", "Bramble of the Long Field")

CAPITAL = 0.75  # capitals of the type, B612, as a share of its size: OS/2 table, sCapHeight 1500 of 2000
MM_PER_PX = 1660 / 1920  # a screen of 75 inches at 16:9 is 1.66 m wide
FAR_M = 10
LEGIBLE_SHARE = 1 / 250  # height of letters by viewing distance; common practice, no source

SIZES = """() => Object.fromEntries([".line__head h2", ".line__callsign", ".line__pilot .channel",
    ".line__pilot .plate span", ".line__others .plate span"].map((where) => [where, Math.min(
        ...[...document.querySelectorAll(where)].filter((one) => one.checkVisibility())
            .map((one) => parseFloat(getComputedStyle(one).fontSize)))]))"""
FOOT = """() => Math.max(...[...document.querySelector(".line").children]
    .map((one) => one.getBoundingClientRect().bottom))"""
IS_WITHIN = """() => document.documentElement.scrollWidth <= innerWidth && [...document.querySelectorAll(
    ".line__callsign, .line__pilot .channel, .line__pilot .plate > span")].filter((one) => one.checkVisibility())
    .every((one) => one.scrollWidth <= one.clientWidth + 1 && one.getBoundingClientRect().right
        <= one.closest(".line__pilot").getBoundingClientRect().right + 1)"""


class Field:
    """Thirty pilots, so many of them up at once, with the means to change the day behind the board's back."""

    def __init__(self, server: FieldServer, up: int, names: tuple[str, ...] = ()) -> None:
        self.server = server
        self.database = Database(server.database_file)
        with self.database.write() as session:
            self.day = make_day(session, aircraft=up, name="Tern Meadow club day")
            callsigns = [*names, *NAMES, *(f"Pilot {number}" for number in range(30))][:30]
            pilots = [make_pilot(session, self.day, callsign) for callsign in callsigns]
            heats = [pilots[first : first + up] for first in range(0, len(pilots), up)]
            publish(session, self.day, [list(zip(heat, CHANNELS, strict=False)) for heat in heats])
        self.address = f"{server.address}/board/{self.day.code}"

    def change(self, act: Callable[[Session, FieldDay], object], tell: bool = True) -> None:
        with self.database.write() as session:
            day = days.by_id(session, self.day.id or 0)
            assert day is not None
            act(session, day)
        if tell:
            self.server.ask(f"/announce/{self.day.id}")


@pytest.fixture
def field_of(one_server: FieldServer) -> Iterator[Callable[..., Field]]:
    fields: list[Field] = []

    def make(up: int, names: tuple[str, ...] = ()) -> Field:
        if not one_server.is_running:  # the test before killed it
            one_server.start()
        fields.append(Field(one_server, up, names))
        return fields[-1]

    yield make
    for field in fields:
        field.database.close()


def opened(page: Page, field: Field) -> Page:
    page.goto(field.address)
    expect(page.locator("body")).to_have_attribute("data-state", "live")
    page.evaluate("window.wasNotLoadedAgain = true")
    return page


def powering_up(session: Session, day: FieldDay) -> None:
    call_heat(session, day, 1)
    for callsign in list(stages(session, day))[:3]:
        press(session, day, callsign, "picture is clear")


def coming_down(session: Session, day: FieldDay) -> None:
    """One landed, one off, one down, the others on their way."""
    released(session, day, 1)
    step(session, day, "land")
    first, second, third, *_ = stages(session, day)
    press(session, day, first, "down")
    press(session, day, second, "landed")
    press(session, day, third, "landed")
    press(session, day, third, "off")


def with_walkers(session: Session, day: FieldDay) -> None:
    powering_up(session, day)
    flight_line.set_walkers(session, day, True, "director", NOW)


def foot_px(page: Page) -> float:
    """Where the flight line ends, once it is as large as fits."""
    page.wait_for_timeout(300)
    return page.evaluate(FOOT)


def lies_within(page: Page) -> bool:
    """Nothing of the flight line sticks out of its place, and the page is not wider than the screen."""
    return page.evaluate(IS_WITHIN)


@pytest.mark.parametrize("screen", ["big screen", "laptop"])
@pytest.mark.parametrize("moment", [powering_up, coming_down, with_walkers], ids=lambda one: one.__name__)
def test_eight_up_and_eight_next_need_no_scrolling(browser_page, field_of, screen, moment):
    field = field_of(8, LONG)
    field.change(moment)
    page = opened(browser_page(screen), field)
    assert foot_px(page) <= page.viewport_size["height"]
    assert lies_within(page)


@pytest.mark.parametrize(
    ("up", "moment"),
    [(6, powering_up), (6, coming_down), (8, powering_up)],
    ids=["six power up", "six land", "eight power up"],
)
def test_whatever_counts_is_legible_at_ten_metres(browser_page, field_of, up, moment):
    field = field_of(up)
    field.change(moment)
    page = opened(browser_page("big screen"), field)
    foot_px(page)
    heights_mm = {where: px * CAPITAL * MM_PER_PX for where, px in page.evaluate(SIZES).items()}
    assert min(heights_mm.values()) >= 1000 * FAR_M * LEGIBLE_SHARE, heights_mm


def test_a_place_in_the_heat_that_is_up_is_more_than_twice_as_tall_as_one_in_the_next(browser_page, field_of):
    field = field_of(6)
    page = opened(browser_page("big screen"), field)
    field.change(powering_up)
    expect(page.locator(".line__heat--now")).to_contain_text("powering up")
    foot_px(page)
    places = (".line__heat--now .line__pilot", ".line__heat--next .line__pilot")
    up, upcoming = (page.locator(place).first.bounding_box()["height"] for place in places)
    assert up > 2 * upcoming


def test_a_heat_goes_from_the_call_to_its_end_without_a_touch(browser_page, field_of):
    field = field_of(6)
    page = opened(browser_page("big screen"), field)
    up = page.locator(".line__heat--now")
    expect(up).to_contain_text("Next Heat 1")
    field.change(lambda session, day: released(session, day, 1))
    expect(up).to_contain_text("Heat 1 flying")
    expect(up.locator(".when-live", has_text="FLY")).to_have_count(6)
    for event in ("land", "all landed", "end"):
        field.change(lambda session, day, event=event: step(session, day, event))
    expect(up).to_contain_text("Next Heat 2")
    assert page.evaluate("window.wasNotLoadedAgain === true")


def test_everybody_land_covers_the_screen_with_its_reason(browser_page, field_of):
    field = field_of(8)
    field.change(coming_down)
    page = opened(browser_page("big screen"), field)
    field.change(
        lambda session, day: flight_line.everybody_land(session, day, "Air ambulance. " * 13, "director", NOW)
    )
    alarm = page.locator(".alarm")
    expect(alarm).to_contain_text("Air ambulance.")
    page.wait_for_timeout(300)
    box = alarm.bounding_box()
    assert (box["width"], box["y"] + box["height"]) == (1920, 1080)
    assert box["y"] < 50
    assert alarm.evaluate("one => one.scrollHeight <= one.clientHeight")
    field.change(lambda session, day: flight_line.lift(session, day, "director", NOW))
    expect(alarm).to_have_count(0)


def test_a_killed_server_leaves_no_wrong_word_and_the_board_comes_back_by_itself(browser_page, field_of):
    field = field_of(6)
    field.change(lambda session, day: released(session, day, 1))
    page = opened(browser_page("big screen"), field)
    field.server.kill()
    expect(page.locator(".line__stale")).to_contain_text(
        re.compile(r"out of date since \d\d:\d\d:\d\d"), timeout=15_000
    )
    expect(page.locator(".line__heat--now .when-live").first).to_be_hidden()
    expect(page.locator(".line__heat--now .when-stale", has_text="ASK THE DIRECTOR")).to_have_count(6)
    assert foot_px(page) <= 1080
    field.change(lambda session, day: step(session, day, "land"), tell=False)
    field.server.start()
    expect(page.locator(".line__heat--now .when-live", has_text="LAND")).to_have_count(6, timeout=15_000)
    expect(page.locator(".line__stale")).to_be_hidden()
    assert page.evaluate("window.wasNotLoadedAgain === true")


def test_a_cut_network_and_a_screen_that_slept_are_mended_by_themselves(browser_page, field_of):
    field = field_of(6)
    page = opened(browser_page("big screen"), field)
    page.context.set_offline(True)
    field.server.freeze()  # what is open already would go on
    expect(page.locator("body")).to_have_attribute("data-state", "stale", timeout=15_000)
    devtools = page.context.new_cdp_session(page)
    devtools.send("Page.setWebLifecycleState", {"state": "frozen"})
    field.server.thaw()
    field.change(powering_up)
    page.context.set_offline(False)
    devtools.send("Page.setWebLifecycleState", {"state": "active"})
    expect(page.locator(".line__heat--now")).to_contain_text("Heat 1 powering up", timeout=20_000)
    expect(page.locator("body")).to_have_attribute("data-state", "live")
    assert page.evaluate("window.wasNotLoadedAgain === true")


@pytest.mark.parametrize("moment", [powering_up, coming_down, with_walkers], ids=lambda one: one.__name__)
def test_on_a_phone_it_is_a_list_that_fits_the_width(browser_page, field_of, moment):
    field = field_of(8, LONG)
    field.change(moment)
    page = opened(browser_page("phone"), field)
    assert lies_within(page)
    first, second = (page.locator(".line__pilot").nth(number).bounding_box() for number in (0, 1))
    assert first["x"] == second["x"]
    assert second["y"] > first["y"]
