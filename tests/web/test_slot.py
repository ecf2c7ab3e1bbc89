import re

import pytest

from server.storage import pilots
from server.storage.tables import WITHDRAWN
from tests.factories import make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import publish


@pytest.fixture
def day(database):
    with database.write() as session:
        return make_day(session, code="tern")


@pytest.fixture
def wren(database, day):
    """Flies on R7 in heats 1 and 2."""
    with database.write() as session:
        wren = make_pilot(session, day, "Wren", link_token="secret", name="Ada Example")
        publish(session, day, [[(wren, "R7")], [(wren, "R7")]], heats_a_round=1)
    return wren


def test_it_shows_channel_mhz_power_heat_and_round(client, wren):
    page = client.get("/slot/secret").text
    for words in ("Wren", ">R7<", ">5880<", ">25 mW<", "Heat 1", "Round 1", "Heat 2", "Round 2"):
        assert words in page


def test_channel_and_mhz_are_one_figure_of_one_size(client, wren):
    figure = re.search(
        r'<span class="channel channel--fill">.*?</span></div>', client.get("/slot/secret").text
    )
    assert "R7" in figure[0]
    assert "5880" in figure[0]


def test_the_word_of_who_is_next_is_ready_while_fresh_and_stay_off_in_doubt(client, wren):
    page = client.get("/slot/secret").text
    fresh, doubt = (
        re.search(rf'class="{one}".*?<span>([A-Z ]+)</span>(.*?)</p>', page, re.S)
        for one in ("when-live", "when-stale")
    )
    assert (fresh[1], doubt[1]) == ("READY", "STAY OFF")
    assert "Your heat is next" in fresh[2]
    assert "may be out of date since" in doubt[2]
    assert 'data-known-on="no"' in page


def test_it_names_the_neighbours_that_look_right_and_the_twin_label(client, wren):
    page = client.get("/slot/secret").text
    assert "F8 is the same frequency" in page
    assert "5 MHz above" in page  # E5 lies at 5885
    assert "look right on the bench and are wrong" in page


def test_every_page_says_whose_voice_counts_and_how_to_stay_whole(client, wren):
    page = client.get("/slot/secret").text
    assert "voice outranks every screen" in page
    assert "Take the propellers off" in page
    assert "20 cm" in page


def test_the_page_names_nobody_and_is_kept_by_no_proxy(client, wren):
    answer = client.get("/slot/secret")
    assert "Ada Example" not in answer.text
    assert answer.headers["Cache-Control"] == "private, no-cache"


def test_a_provisional_channel_is_framed_as_one(client, database, day):
    with database.write() as session:
        make_pilot(session, day, "Otter", link_token="other", provisional_mhz=5695)
    page = client.get("/slot/other").text
    assert "channel--provisional" in page
    assert "No plan is published yet" in page


def test_a_moved_pilot_is_told_to_set_the_gear_anew(client, database, wren, day):
    move = {"callsign": "Wren", "from_channel": "R7", "from_mhz": 5880, "to_channel": "F4", "to_mhz": 5800}
    with database.write() as session:
        publish(session, day, [[(wren, "F4")]], moves=[move])
    page = client.get("/slot/secret").text
    assert "Plan 2 moved you here from" in page
    assert "5880" in page


def test_who_is_withdrawn_reads_so_and_sees_no_channel(client, database, day, wren):
    with database.write() as session:
        pilots.by_id(session, day.id, wren.id).state = WITHDRAWN
    page = client.get("/slot/secret").text
    assert "You are withdrawn" in page
    assert "5880" not in page


def test_a_link_of_nobody_gets_a_kind_page_that_keeps_transmitters_off(client):
    answer = client.get("/slot/mistyped")
    assert answer.status_code == 404
    assert "STAY OFF" in answer.text
    assert "Ask at the desk" in answer.text
    assert "data-stream" not in answer.text


@pytest.mark.parametrize("what", ["state", "stream"])
def test_an_open_page_learns_that_its_link_was_replaced(client, database, wren, day, what):
    with database.write() as session:
        pilots.by_id(session, day.id, wren.id).link_token = "a-new-one"
    answer = client.get(f"/slot/secret/{what}")
    assert (answer.status_code, answer.json()) == (410, {"gone": True})
    assert client.get("/slot/a-new-one").status_code == 200


def test_who_polls_gets_the_state_once_and_then_only_news(client, database, wren, day):
    first = client.get("/slot/secret/state")
    assert "5880" in first.json()["html"]
    known = {"If-None-Match": first.headers["ETag"]}
    assert client.get("/slot/secret/state", headers=known).status_code == 304
    with database.write() as session:
        make_logbook_entry(session, day)
    assert client.get("/slot/secret/state", headers=known).json()["order"] > first.json()["order"]


def test_a_pilot_whose_channel_changes_between_heats_sees_each(client, database, day):
    with database.write() as session:
        otter = make_pilot(session, day, "Otter", link_token="other")
        publish(session, day, [[(otter, "R1")], [(otter, 5801)]])
    heats = re.search(r'<ol class="slot__heats">.*?</ol>', client.get("/slot/other").text, re.S)[0]
    assert "R1" in heats
    assert "5658" in heats
    assert "5801" in heats
