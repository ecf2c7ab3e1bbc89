"""The spectrum of a heat on the channel plan, and a pilot moved in it on trial."""

import re
from xml.etree import ElementTree

import pytest

from server.services.standings import standing
from server.storage import days, pilots
from tests.factories_snapshot import publish
from tests.services.planned_days import day_with_pilots, plan_at_once, version

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def day(database):
    """Wren on R1, Otter on R2 and Rook on R3 in one heat; nothing published."""
    with database.write() as session:
        day = day_with_pilots(session, "Wren", "Otter", "Rook", aircraft=3, code="tern")
        plan_at_once(session, day)
    return day


def pilot_id(database, day, callsign):
    with database.read() as session:
        return pilots.by_callsign_key(session, day.id, callsign.casefold()).id


def drawings(html):
    return [ElementTree.fromstring(found) for found in re.findall(r"<svg xmlns.*?</svg>", html, re.DOTALL)]


def show(director, address):
    answer = director.get(address)
    assert answer.status_code == 200
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def publish_now(director):
    page = director.get("/days/tern/plan").text
    form = re.search(r'<form method="post" action="/days/tern/plan/publish".*?</form>', page, re.DOTALL)[0]
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
    assert director.post("/days/tern/plan/publish", data=fields).status_code == 303


def test_the_plan_offers_the_drawing_and_opens_it_by_address(director, day):
    closed = show(director, "/days/tern/plan")
    assert "Spectrum of heat 1" in closed
    assert drawings(closed) == []
    opened = show(director, "/days/tern/plan?spectrum=1")
    wide, narrow = drawings(opened)
    assert wide.find(f"{SVG}title").text == "Spectrum of heat 1"
    assert wide.get("viewBox").startswith("0 0 680 ")
    assert narrow.get("viewBox").startswith("0 0 360 ")


def test_each_mast_can_be_stepped_by_keyboard(director, database, day):
    wide, _ = drawings(show(director, "/days/tern/plan/spectrum?heat=1"))
    masts = [one for one in wide.iter(f"{SVG}g") if one.get("role") == "slider"]
    assert [one.get("aria-label") for one in masts] == ["Wren", "Otter", "Rook"]
    first = masts[0]
    assert (first.get("tabindex"), first.get("aria-valuenow")) == ("0", "5658")
    assert first.get("aria-valuetext").startswith("R1 5658 MHz, margin +")
    assert (first.get("aria-valuemin"), first.get("aria-valuemax")) == ("5658", "5945")


def test_a_step_shows_the_difference_for_everyone_and_changes_nothing(director, database, day):
    wren = pilot_id(database, day, "Wren")
    page = show(director, f"/days/tern/plan/spectrum?heat=1&moved={wren}&mhz=5685")
    text = re.sub(r"\s+", " ", re.sub("<[^>]+>", "", page))
    assert "On trial: Wren on A8 5685" in text or "On trial: Wren on E2 5685" in text
    assert "10 MHz from Otter: the day asks for 20 MHz." in text
    assert text.count("same") <= 1
    assert "Keep: Wren moves to" in page
    with database.read() as session:
        heat = standing(session, days.by_id(session, day.id)).draft.snapshot["heats"][0]
    assert heat["slots"][0]["mhz"] == 5658


def test_back_on_the_own_channel_nothing_is_on_trial(director, database, day):
    wren = pilot_id(database, day, "Wren")
    page = show(director, f"/days/tern/plan/spectrum?heat=1&moved={wren}&mhz=5658")
    assert "On trial" not in page
    assert "What if one moves?" in page


def test_without_script_a_step_is_a_page(director, database, day):
    wren = pilot_id(database, day, "Wren")
    page = show(director, f"/days/tern/plan?spectrum=1&moved={wren}&mhz=5880")
    assert "On trial: Wren on R7 5880" in page or "On trial: Wren on F8 5880" in page


def test_keeping_moves_the_pilot_opens_the_drawing_again_and_can_be_undone(director, database, day):
    wren = pilot_id(database, day, "Wren")
    with database.read() as session:
        fields = {"act": "tune", "version": version(session, days.by_id(session, day.id))}
    fields |= {"pilot": wren, "mhz": 5880, "spectrum": 1}
    answer = director.post("/days/tern/plan/edit", data=fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/days/tern/plan?spectrum=1#spectrum-1")
    page = show(director, "/days/tern/plan?spectrum=1")
    assert len(drawings(page)) == 2
    assert "/days/tern/plan/undo" in page


def test_a_move_that_was_overtaken_keeps_the_drawing_open(director, database, day):
    fields = {
        "act": "tune",
        "version": 99,
        "pilot": pilot_id(database, day, "Wren"),
        "mhz": 5880,
        "spectrum": 1,
    }
    answer = director.post("/days/tern/plan/edit", data=fields)
    assert answer.status_code == 409
    assert len(drawings(answer.text)) == 2
    assert "Make this change now" in answer.text


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("heat=9", 404, "There is no heat 9"),
        ("heat=1&moved=77&mhz=5880", 422, "does not fly in heat 1"),
        ("heat=1&moved=1&mhz=5659", 422, "cannot use 5659 MHz today"),
    ],
)
def test_what_cannot_be_drawn_says_why(director, day, query, status, words):
    answer = director.get(f"/days/tern/plan/spectrum?{query}", headers={"HX-Request": "true"})
    assert answer.status_code == status
    assert words in answer.text


def test_a_published_heat_is_drawn_as_it_was_stored(director, database, day):
    publish_now(director)
    before = show(director, "/days/tern/plan/1/spectrum?heat=1")
    with database.write() as session:
        days.by_id(session, day.id).settings_json = '{"site": {"near_m": 40}}'
    assert show(director, "/days/tern/plan/1/spectrum?heat=1") == before
    assert "slider" not in before
    assert len(drawings(show(director, "/days/tern/plan/1?spectrum=1"))) == 2
    assert director.get("/days/tern/plan/1/spectrum?heat=2").status_code == 404


def test_a_plan_stored_without_a_drawing_says_so(director, database, day):
    with database.write() as session:
        stored = days.by_id(session, day.id)
        wren, otter, _ = pilots.of_day(session, day.id)
        publish(session, stored, [[(wren, "R1"), (otter, "R8")]], spectrum=None)
    assert "stored without its chart" in show(director, "/days/tern/plan/1?spectrum=1")
    assert "Spectrum of each heat" not in show(director, "/days/tern/heat-sheet")


def test_the_heat_sheet_draws_every_heat(director, day):
    publish_now(director)
    page = show(director, "/days/tern/heat-sheet")
    assert "Spectrum of each heat" in page
    assert len(drawings(page)) == 2
    assert drawings(show(director, "/days/tern/heat-sheet?by=channel")) == []


def test_a_callsign_is_text_in_a_drawing(director, database):
    with database.write() as session:
        plan_at_once(session, day_with_pilots(session, '<b>"&Wren', "Otter", code="mark"))
    page = show(director, "/days/mark/plan?spectrum=1")
    assert "<b>" not in page
    wide, _ = drawings(page)
    assert '<b>"&Wren on R1 5658 MHz' in wide.find(f"{SVG}desc").text
