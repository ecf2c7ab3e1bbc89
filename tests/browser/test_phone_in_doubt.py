"""A pilot's phone in mid-flight that slept, has a wrong clock, or shows a page out of its cache."""

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, expect

from server.services import flight_line
from server.storage import days
from server.storage.session import Database
from tests.browser.field_server import HEARTBEAT_S, FieldServer
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import released, step

SHOWN = """() => [...document.querySelectorAll(".slot .plate > span")].filter((one) => one.checkVisibility())
    .map((one) => one.textContent).join()"""
FALL_ASLEEP = """() => {
    Object.defineProperty(document, "hidden", { value: true, configurable: true });
    document.dispatchEvent(new Event("visibilitychange"));
}"""
WAKE_AND_LOOK = f"""() => {{
    Object.defineProperty(document, "hidden", {{ value: false, configurable: true }});
    document.dispatchEvent(new Event("visibilitychange"));
    return ({SHOWN})();
}}"""
CLOCK_IS_WRONG = """(by_ms) => {
    const right = window.rightNow || Date.now;
    window.rightNow = right;
    Date.now = () => right() + by_ms;
}"""


class Field:
    """Wren flies; Otter's heat is the next."""

    def __init__(self, server: FieldServer) -> None:
        self.server = server
        self.database = Database(server.database_file)
        with self.database.write() as session:
            self.day = make_day(session)
            wren, otter = (make_pilot(session, self.day, name) for name in ("Wren", "Otter"))
            publish(session, self.day, [[(wren, "R1")], [(otter, "R8")]])
            released(session, self.day, 1)
        self.wren = f"{server.address}/slot/{wren.link_token}"

    def everybody_lands(self) -> None:
        with self.database.write() as session:
            day = days.by_id(session, self.day.id or 0)
            assert day is not None
            flight_line.everybody_land(session, day, "Air ambulance.", "director", NOW)
        self.server.ask(f"/announce/{self.day.id}")

    def is_called_to_land(self) -> None:
        with self.database.write() as session:
            day = days.by_id(session, self.day.id or 0)
            assert day is not None
            step(session, day, "land")
        self.server.ask(f"/announce/{self.day.id}")


@pytest.fixture
def field(one_server: FieldServer) -> Iterator[Field]:
    if not one_server.is_running:  # the test before killed it
        one_server.start()
    field = Field(one_server)
    yield field
    field.database.close()


@pytest.fixture
def phone(browser_page: Callable[[str], Page]) -> Page:
    return browser_page("phone")


def flying(phone: Page, field: Field) -> Page:
    phone.goto(field.wren)
    expect(phone.locator("body")).to_have_attribute("data-state", "live", timeout=15_000)
    assert phone.evaluate(SHOWN) == "FLY"
    return phone


def past_two_heartbeats(phone: Page) -> None:
    phone.wait_for_timeout(2000 * HEARTBEAT_S + 300)


def test_a_phone_that_slept_asks_the_director_until_it_has_heard(phone, field):
    flying(phone, field).evaluate(FALL_ASLEEP)
    past_two_heartbeats(phone)
    field.everybody_lands()
    assert phone.evaluate(WAKE_AND_LOOK) == "ASK THE DIRECTOR"
    expect(phone.locator(".everybody-land .when-live .plate > span")).to_have_text("LAND", timeout=15_000)


@pytest.mark.parametrize("by_hours", [-30, 24 * 400])
def test_a_phone_with_a_wrong_clock_shows_what_holds_and_notices_a_dead_server(phone, field, by_hours):
    phone.add_init_script(f"({CLOCK_IS_WRONG})({by_hours * 3_600_000})")
    flying(phone, field)
    field.is_called_to_land()
    expect(phone.locator(".when-live .plate > span")).to_have_text("LAND", timeout=15_000)
    expect(phone.locator("body")).to_have_attribute("data-state", "live")
    field.server.kill()
    expect(phone.locator("body")).to_have_attribute("data-state", "stale", timeout=15_000)
    assert phone.evaluate(SHOWN) == "ASK THE DIRECTOR"


@pytest.mark.parametrize("by_hours", [-2, 2])
def test_a_clock_that_is_set_in_mid_flight_never_says_stay_off(phone, field, by_hours):
    flying(phone, field).evaluate(CLOCK_IS_WRONG, by_hours * 3_600_000)
    seen = {phone.evaluate(SHOWN) for _ in range(10) if not phone.wait_for_timeout(60)}
    assert seen <= {"FLY", "ASK THE DIRECTOR"}
    expect(phone.locator("body")).to_have_attribute("data-state", "live", timeout=15_000)
    assert phone.evaluate(SHOWN) == "FLY"


def test_a_page_that_is_gone_back_to_is_in_doubt_from_its_first_moment(phone, field):
    flying(phone, field)
    phone.goto(f"{field.server.address}/board/{field.day.code}")
    expect(phone.locator("body")).to_have_attribute("data-state", "live", timeout=15_000)
    field.is_called_to_land()
    field.server.kill()
    phone.add_init_script(
        f"""addEventListener("DOMContentLoaded", () => {{ window.firstShown = ({SHOWN})(); }})"""
    )
    phone.go_back()
    expect(phone.locator("#live-line-text")).to_have_text(re.compile("^May be out of date since"))
    assert phone.evaluate("window.firstShown") == "ASK THE DIRECTOR"
    field.server.start()
    expect(phone.locator(".when-live .plate > span")).to_have_text("LAND", timeout=15_000)
