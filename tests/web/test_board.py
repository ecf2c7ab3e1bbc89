import re

import pytest

from server.services import days, flight_line, site
from tests.factories import NOW, make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat, released


@pytest.fixture
def day(database):
    with database.write() as session:
        day = make_day(session, code="tern")
        make_logbook_entry(session, day)
    return day


@pytest.fixture
def planned(database, day):
    with database.write() as session:
        wren = make_pilot(session, day, "Wren", name="Ada Example", station_id="EI1XYZ")
        publish(session, day, [[(wren, "R1")]])
    return day


def test_the_first_page_before_any_day_says_what_will_come(client):
    page = client.get("/")
    assert page.status_code == 200
    assert "No field day yet" in page.text


def test_the_first_page_leads_everybody_to_the_board_of_the_day(client, day):
    answer = client.get("/")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/board/tern")


def test_the_first_page_leads_the_director_to_the_check_in(director, day):
    assert director.get("/").headers["Location"] == "/days/tern/check-in"


def test_the_first_page_leads_the_director_without_a_day_to_the_days(director):
    assert director.get("/").headers["Location"] == "/days"


def test_an_archived_day_is_not_the_day(client, database, day):
    with database.write() as session:
        days.archive(session, "tern", NOW)
    assert "No field day yet" in client.get("/").text
    assert "archived" in client.get("/board/tern").text


def test_the_board_shows_callsign_channel_and_mhz_and_the_time_at_the_field(client, planned):
    page = client.get("/board/tern").text
    for words in ("Wren", "R1", "5658", "Heat 1", "Round 1", "<strong>Plan 1</strong>", ">10:30</time>"):
        assert words in page


def test_no_name_is_on_the_board(client, planned):
    for address in ("/board/tern", "/board/tern/state"):
        assert not [word for word in ("Ada", "Example", "EI1XYZ") if word in client.get(address).text]


def test_a_callsign_cannot_bring_markup(client, database, day):
    with database.write() as session:
        publish(session, day, [[(make_pilot(session, day, "<b>Wren</b>"), "R1")]])
    assert "&lt;b&gt;Wren" in client.get("/board/tern").text


def test_a_code_typed_on_a_phone_may_begin_with_a_capital(client, planned):
    assert client.get("/board/Tern").status_code == 200
    assert client.get("/board/TERN/state").status_code == 200


@pytest.mark.parametrize("address", ["/board/none", "/board/none/state", "/board/none/stream"])
def test_an_unknown_day_is_not_found(client, address):
    assert client.get(address).status_code == 404


def test_before_a_plan_the_board_says_how_many_are_here_and_where_to_check_in(client, database, day):
    with database.write() as session:
        make_pilot(session, day, "Wren")
        day = days.day_with(session, "tern")
        day.base_url = "http://192.168.8.2:8000"
    page = client.get("/board/tern").text
    assert "1 pilot is checked in" in page
    assert "192.168.8.2:8000/join/tern</a>" in page
    assert "<svg" in page  # the code to scan
    assert "http://192.168.8.2:8000/join/tern" not in page  # shorter to type without


def test_a_changed_address_voids_what_was_printed(client, database, day):
    with database.write() as session:
        row = days.day_with(session, "tern")
        former = site.FormerAddress(base_url="http://192.168.8.2:8000", until=NOW)
        row.settings_json = (
            days.settings_of(row).model_copy(update={"former_addresses": (former,)}).model_dump_json()
        )
    page = client.get("/board/tern").text
    assert "changed at 10:30" in page
    assert "http://192.168.8.2:8000 are void" in page


def test_the_page_carries_the_order_that_its_state_has(client, planned):
    state = client.get("/board/tern/state").json()
    assert f'data-order="{state["order"]}"' in client.get("/board/tern").text
    assert state["html"].strip() in client.get("/board/tern").text


def test_the_page_knows_the_rhythm_of_the_heartbeats(client, planned, settings):
    assert f'data-heartbeat-ms="{settings.heartbeat_s * 1000:.0f}"' in client.get("/board/tern").text


def test_who_polls_gets_the_state_once_and_then_only_news(client, database, planned):
    first = client.get("/board/tern/state")
    assert first.headers["Cache-Control"] == "private, no-cache"
    again = client.get("/board/tern/state", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    with database.write() as session:
        make_pilot(session, planned, "Latecomer")
        make_logbook_entry(session, planned)
    news = client.get("/board/tern/state", headers={"If-None-Match": first.headers["ETag"]})
    assert news.status_code == 200
    assert "Latecomer" in news.json()["html"]
    assert news.json()["order"] > first.json()["order"]


def test_a_day_of_sixty_four_fits_on_a_big_screen(client, database, day):
    with database.write() as session:
        pilots = [make_pilot(session, day, f"Pilot {number}") for number in range(64)]
        channels = ("R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
        one_round = [list(zip(pilots[8 * heat : 8 * heat + 8], channels, strict=True)) for heat in range(8)]
        publish(session, day, one_round * 3, heats_a_round=8)
    page = client.get("/board/tern").text
    assert page.count('class="heat__slot"') == 64 * 3
    assert "board__rounds--8 board__rounds--many" in page


def heat_part(page: str, label: str) -> str:
    return page.partition(f'aria-label="{label}"')[2].partition("</section>")[0]


def test_a_called_heat_stands_on_top_with_its_words(client, database, planned):
    with database.write() as session:
        call_heat(session, days.day_with(session, "tern"), 1)
    part = heat_part(client.get("/board/tern").text, "Heat 1")
    for words in ("powering up", "Wren", "R1", "5658", "<span>POWER UP</span>", "<span>STAY OFF</span>"):
        assert words in part
    assert part.index("POWER UP") < part.index("when-stale") < part.index("STAY OFF")


def test_a_plan_and_a_call_are_read_aloud_when_they_change(client, database, planned):
    heard = re.compile(r'<p [^>]*role="status"[^>]*>(.*?)</p>', re.S)
    plan, called = heard.findall(client.get("/board/tern").text)
    assert ("Plan 1" in plan, called) == (True, "")
    with database.write() as session:
        call_heat(session, days.day_with(session, "tern"), 1)
    assert heard.findall(client.get("/board/tern").text)[1] == "Heat 1: powering up"


def test_before_it_is_called_the_next_heat_is_ready(client, planned):
    assert "<span>READY</span>" in heat_part(client.get("/board/tern").text, "Next, heat 1")


def test_everybody_land_stands_over_the_board_with_its_reason(client, database, planned):
    with database.write() as session:
        day = days.day_with(session, "tern")
        released(session, day, 1)
        flight_line.everybody_land(session, day, "Air <ambulance>.", "director", NOW)
    part = heat_part(client.get("/board/tern").text, "Everybody land")
    for words in ("Air &lt;ambulance&gt;.", "<span>LAND</span>", "Wren"):
        assert words in part


def test_walkers_stand_on_the_board(client, database, planned):
    assert "Walkers" not in client.get("/board/tern").text
    with database.write() as session:
        flight_line.set_walkers(session, days.day_with(session, "tern"), True, "director", NOW)
    assert "Walkers on the field" in client.get("/board/tern").text


def test_after_the_last_heat_the_board_says_that_all_are_flown(client, database, planned):
    with database.write() as session:
        days.day_with(session, "tern").flown_heats = 1
    assert "Every heat of plan 1 is flown." in client.get("/board/tern").text


def test_an_archived_day_tells_nobody_to_get_ready(client, database, planned):
    with database.write() as session:
        days.archive(session, "tern", NOW)
    assert "READY" not in client.get("/board/tern").text


def test_the_board_leads_the_crew_to_the_sign_in(client, planned):
    assert 'href="/sign-in"' in client.get("/board/tern").text


def test_without_an_address_for_phones_the_board_says_where_to_put_the_path(client, day):
    words = "In the address of this page put /join/tern in place of /board/tern."
    assert words in client.get("/board/tern").text
