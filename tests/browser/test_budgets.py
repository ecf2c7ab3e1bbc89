"""How light the pages of pilots are, on the day of the demonstration: 18 pilots, three rounds.

The budgets are Bandstand's own, for a phone with poor signal in a field. How long the board takes is a benchmark,
`tests.benchmarks.first_view`; what it comes from is held here.
"""

import pytest

from tests.browser.screens import demo_day, moved_in_another_plan
from tests.browser.wire import listening, watch

KB = 1000
PILOT_PAGE = 60 * KB
PUBLISH = 3 * KB
BEFORE_FIRST_PAINT = 20 * KB
NEW_MHZ = 5843
STREAM_TELLS_MS = 1500


@pytest.mark.parametrize("path", ["/slot/{token}", "/board/{code}"])
def test_a_pilots_first_visit_costs_less_than_sixty_kilobytes_all_in(field, browser_page, path):
    page = browser_page("phone")
    wire, _ = watch(page)
    page.goto(field.make(demo_day, path)[0])
    page.wait_for_timeout(STREAM_TELLS_MS)
    assert wire.of(".woff2") > 0
    assert wire.of("/stream") > 0
    assert wire.total <= PILOT_PAGE, wire.took


@pytest.mark.parametrize("path", ["/slot/{token}", "/board/{code}", "/days/{code}/line", "/guide"])
def test_a_second_visit_costs_the_page_alone(field, signed_in_page, path):
    address = field.make(demo_day, path)[0]
    signed_in_page.goto(address)
    signed_in_page.wait_for_timeout(STREAM_TELLS_MS)  # its icon comes last
    signed_in_page.goto("about:blank")
    wire, _ = watch(signed_in_page)
    signed_in_page.goto(address)
    signed_in_page.wait_for_timeout(STREAM_TELLS_MS)
    assert wire.took[address] > 0
    assert {one for one, size in wire.took.items() if "/static/" in one and size} == set()


@pytest.mark.parametrize("path", ["/slot/{token}", "/board/{code}"])
def test_a_publish_reaches_a_phone_in_less_than_three_kilobytes(field, one_server, path):
    address = field.make(demo_day, path)[0].replace(field.address, f"http://127.0.0.1:{one_server.port}")
    with listening(address) as stream:
        assert stream.until("event: state") <= PUBLISH
        with field.database.write() as session:
            day = moved_in_another_plan(session, "Wren", NEW_MHZ)
            day_id = day.id
        assert one_server.ask(f"/announce/{day_id}").status_code == 200
        assert stream.until(str(NEW_MHZ)) <= PUBLISH


@pytest.mark.parametrize("path", ["/slot/{token}", "/board/{code}"])
def test_nothing_of_a_pilots_page_waits_for_anything_but_the_page(field, browser_page, path):
    """Each link in a chain of requests costs a way there and back before the page is whole."""
    page = browser_page("phone")
    wire, _ = watch(page)
    page.goto(field.make(demo_day, path)[0])
    page.wait_for_timeout(STREAM_TELLS_MS)
    assert set(wire.asked_by.values()) == {wire.page_address}
    assert wire.of(".html", ".css", path.format(token="", code="tern")) <= BEFORE_FIRST_PAINT


@pytest.mark.parametrize("path", ["/slot/{token}", "/board/{code}", "/days/{code}/line", "/days/{code}/plan"])
def test_no_script_holds_up_the_first_paint(field, signed_in_page, path):
    signed_in_page.goto(field.make(demo_day, path)[0])
    blocking = signed_in_page.evaluate(
        """() => performance.getEntriesByType("resource")
            .filter((one) => one.renderBlockingStatus === "blocking")
            .map((one) => new URL(one.name).pathname.split(".").pop())"""
    )
    assert set(blocking) == {"css"}
