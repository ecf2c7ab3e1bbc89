"""Two people change the same thing, each in a browser of their own, with and without scripts."""

from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from server.services import days, demo, flight_line
from server.services.site_fields import fields_of
from server.storage import pilots
from tests.browser.conftest import SCREENS
from tests.browser.screens import NOW, sign_in
from tests.browser.test_axe import judged
from tests.waiting import until

SITE = f"/days/{demo.CODE}/site"


@pytest.fixture(params=["with scripts", "without scripts"])
def late(request, browser: Browser, field):
    """The later person's page; without scripts every form is a plain post."""
    options: dict[str, Any] = {**SCREENS["laptop"], "java_script_enabled": request.param == "with scripts"}
    context = browser.new_context(**options)
    page = context.new_page()
    sign_in(page, field.address)
    yield page
    context.close()


@pytest.fixture
def early(signed_in_page: Page) -> Page:
    return signed_in_page


def saved(field, name: str) -> str:
    with field.database.read() as session:
        return fields_of(days.day_with(session, demo.CODE))[name]


def save_site(page: Page, near: str) -> None:
    page.fill("#near_m", near)
    page.get_by_role("button", name="Save site and rules").click()


@pytest.fixture
def overtaken_site(field, early, late):
    """The later one typed 12 m where the other saved 10 m meanwhile."""
    early.goto(field.address + SITE)
    save_site(early, "8")
    until(lambda: saved(field, "near_m") == "8")
    for page in (late, early):
        page.goto(field.address + SITE)
    save_site(early, "10")
    until(lambda: saved(field, "near_m") == "10")
    save_site(late, "12")
    late.locator(".both-versions").wait_for()
    return late


def test_both_versions_stand_side_by_side_and_what_was_typed_is_in_its_field(overtaken_site, field):
    row = overtaken_site.locator(".both-versions tr", has_text="Near")
    assert row.locator("td").all_inner_texts() == ["10", "12"]
    assert overtaken_site.input_value("#near_m") == "12"
    assert saved(field, "near_m") == "10"


def test_saving_mine_puts_it_in_place(overtaken_site, field):
    overtaken_site.get_by_role("button", name="Save mine").click()
    overtaken_site.locator(".both-versions").wait_for(state="detached")
    assert saved(field, "near_m") == "12"


def test_keeping_what_stands_leads_to_the_page_as_it_is_saved(overtaken_site, field):
    overtaken_site.get_by_role("link", name="Keep what stands").click()
    overtaken_site.locator(".both-versions").wait_for(state="detached")
    assert overtaken_site.input_value("#near_m") == saved(field, "near_m") == "10"


def test_a_press_in_the_roster_shows_both_states_and_can_be_made_from_there(field, early, late):
    for page in (late, early):
        page.goto(f"{field.address}/days/{demo.CODE}/check-in")
    with field.database.write() as session:
        day = days.day_with(session, demo.CODE)
        wren = next(one for one in pilots.of_day(session, day.id) if one.callsign == "Wren")
        wren.state = "checked in"
    early.reload()
    late.reload()
    early.click(f"#absent-{wren.id}")
    early.get_by_role("button", name="Bring back").first.wait_for()
    late.click(f"#leave-{wren.id}")
    versions = late.locator(".both-versions")
    versions.wait_for()
    until(lambda: 0 <= versions.bounding_box()["y"] < SCREENS["laptop"]["viewport"]["height"] / 2)
    assert versions.locator("td").all_inner_texts() == ["no-show", "withdrawn"]
    versions.get_by_role("button", name="Put mine").click()
    versions.wait_for(state="detached")
    with field.database.read() as session:
        assert pilots.by_id(session, wren.field_day_id, wren.id).state == "withdrawn"


def test_lift_says_which_everybody_land_the_page_shows(field, early):
    early.goto(f"{field.address}/days/{demo.CODE}/check-in")
    with field.database.write() as session:
        day = days.day_with(session, demo.CODE)
        flight_line.everybody_land(session, day, "Dogs on the field", "director", NOW)
        mark = flight_line.land_mark(flight_line.line_of(session, day))
    early.get_by_text("Dogs on the field").wait_for()
    assert early.input_value("#everybody-land-since") == mark
    early.get_by_role("button", name="Lift EVERYBODY LAND").click()
    early.locator("#everybody-land").wait_for(state="hidden")


def test_both_versions_keep_to_the_rules_of_accessibility(field, early, browser_page):
    late, line = browser_page("phone"), f"{field.address}/days/{demo.CODE}/line"
    sign_in(late, field.address)
    for page in (late, early):
        page.goto(line)
    for page, hour in ((early, "17:00"), (late, "16:00")):
        page.fill("[name=ends_by]", hour)
        page.locator("form[action$='/hours'] button").click()
    late.locator(".both-versions").wait_for()
    assert list(judged(late)) == []
    for page in (late, early):
        page.goto(field.address + SITE)
    for page, rounds in ((early, "4"), (late, "5")):
        page.fill("#rounds", rounds)
        page.get_by_role("button", name="Save site and rules").click()
        until(lambda: saved(field, "rounds") == "4")
    late.locator(".both-versions").wait_for()
    assert list(judged(late)) == []
