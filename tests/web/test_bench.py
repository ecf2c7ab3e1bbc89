"""The bench: the list, one pilot's ticks, the picture check, leave to switch on."""

import html
import re

import pytest

from server.services import bench_checks, clearances, days, flight_line, picture_checks
from server.services.bench_views import bench
from server.services.channel_confirmation import is_confirmed
from server.storage import logbook, pilots
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat

PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}
AT = "/days/tern/pilots/1/bench"


@pytest.fixture
def desk(director, database):
    with database.write() as session:
        day = make_day(session, code="tern", responsibility="The chair answers for it.")
        make_pilot(session, day, "Wren", provisional_mhz=5732)
        make_pilot(session, day, "<b>Otter", provisional_mhz=5800)
    return director


def seen(database):
    with database.read() as session:
        shown = bench(session, days.day_with(session, "tern"), pilots.by_id(session, 1, 1))
        return {"gear": shown.gear, "seen": shown.picture.seen}


def text_of(answer):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_the_list_says_who_is_still_to_be_checked(desk):
    words = text_of(desk.get("/days/tern/bench"))
    assert "2 of 2 still to be checked" in words
    assert "<b>Otter" in words
    assert "R3 5732 everything" in words


def test_a_day_without_pilots_says_what_to_do(director, database):
    with database.write() as session:
        make_day(session, code="tern")
    assert "Nobody is checked in yet" in text_of(director.get("/days/tern/bench"))


def test_the_day_can_demand_the_bench_check(desk, database):
    assert desk.post("/days/tern/bench", data={"needed": "yes"}).status_code == 303
    with database.read() as session:
        assert bench_checks.is_needed(days.day_with(session, "tern"))
    desk.post("/days/tern/bench", data={})
    with database.read() as session:
        assert not bench_checks.is_needed(days.day_with(session, "tern"))


def test_check_in_leads_to_the_bench(desk):
    page = desk.get("/days/tern/check-in").text
    assert 'href="/days/tern/bench"' in page
    assert f'href="{AT}"' in page


def test_the_page_has_the_words_of_safety_and_no_field_for_a_search(desk):
    answer = desk.get(AT)
    words = text_of(answer)
    for said in (
        "Propellers off",
        "Antenna, then power",
        "20 cm away",
        "automatic search has stopped is no proof",
    ):
        assert said in words
    assert not re.search(r'name="(search|scan|auto)', answer.text)


def test_one_press_ticks_and_another_undoes(desk, database):
    answer = desk.post(f"{AT}/ticks/failsafe", data=seen(database), headers=PARTIAL)
    assert "director, 10:30" in text_of(answer)
    answer = desk.post(f"{AT}/ticks/failsafe", data=seen(database) | {"undo": "yes"}, headers=PARTIAL)
    assert "director, 10:30" not in text_of(answer)
    with database.read() as session:
        actions = [entry.action for entry in logbook.newest_first(session, 1, 2)]
    assert actions == ["bench tick undone", "bench tick"]


def test_without_script_a_tick_leads_back_to_the_page(desk, database):
    answer = desk.post(f"{AT}/ticks/failsafe", data=seen(database))
    assert (answer.status_code, answer.headers["Location"]) == (303, AT)


def test_a_page_of_another_set_up_ticks_nothing_and_says_so(desk, database):
    answer = desk.post(f"{AT}/ticks/failsafe", data={"gear": "1.9"}, headers=PARTIAL)
    assert answer.status_code == 409
    assert "changed since this page was loaded" in text_of(answer)


def test_an_item_that_is_none_is_refused(desk, database):
    assert desk.post(f"{AT}/ticks/wings", data=seen(database)).status_code == 422


def test_yes_confirms_the_channel(desk, database):
    answer = desk.post(f"{AT}/picture", data=seen(database) | {"step": "yes"}, headers=PARTIAL)
    assert "On its channel director, 10:30" in text_of(answer)
    with database.read() as session:
        assert is_confirmed(session, pilots.by_id(session, 1, 1))


def test_no_asks_for_readings_and_a_bad_one_is_kept_with_its_fault(desk, database):
    answer = desk.post(f"{AT}/picture", data=seen(database) | {"step": "no"}, headers=PARTIAL)
    assert "Tune the receiver to R3 5732 , by hand" in text_of(answer)
    typed = seen(database) | {"tuned": "5732", "level": "<loud>", "unit": "dB"}
    answer = desk.post(f"{AT}/readings", data=typed, headers=PARTIAL)
    assert answer.status_code == 422
    assert 'value="&lt;loud&gt;"' in answer.text
    assert "Type the number that the receiver shows" in text_of(answer)


def test_a_wrong_channel_is_named_with_what_to_press_and_the_risk(desk, database):
    desk.post(f"{AT}/picture", data=seen(database) | {"step": "no"})
    for tuned, bars in ((5732, 1), (5752, 5)):
        desk.post(f"{AT}/readings", data=seen(database) | {"tuned": tuned, "level": bars, "unit": "bars"})
    words = text_of(desk.post(f"{AT}/picture", data=seen(database) | {"step": "wrong"}, headers=PARTIAL))
    assert "Wrong channel Wren is on " in words
    assert "B2 5752" in words
    assert "choose band R, channel 3" in words
    assert "at risk while it is on" in words
    assert "Ask to retune" in words


def test_the_last_step_is_undone_and_a_check_started_again(desk, database):
    desk.post(f"{AT}/picture", data=seen(database) | {"step": "no"})
    desk.post(f"{AT}/picture", data=seen(database) | {"step": "undo"})
    assert "Yes, it is there" in text_of(desk.get(AT))
    desk.post(f"{AT}/picture", data=seen(database) | {"step": "no"})
    desk.post(f"{AT}/picture", data=seen(database) | {"step": "again"})
    assert "Yes, it is there" in text_of(desk.get(AT))


def test_leave_to_switch_on_is_asked_for_given_used_and_ended(desk, database):
    words = text_of(desk.post(f"{AT}/clearance", data={"step": "ask"}, headers=PARTIAL))
    assert "May switch on for the bench check: antenna first." in words
    words = text_of(
        desk.post(f"{AT}/clearance", data={"step": "on", "clearance": 1, "seen": "cleared"}, headers=PARTIAL)
    )
    assert "On since 10:30" in words
    words = text_of(
        desk.post(f"{AT}/clearance", data={"step": "off", "clearance": 1, "seen": "on"}, headers=PARTIAL)
    )
    assert "Transmitter off." in words


def test_whoever_has_to_wait_is_told_why_and_the_director_can_override_in_words(desk, database):
    with database.write() as session:
        flight_line.set_walkers(session, days.day_with(session, "tern"), True, "director", NOW)
    answer = desk.post(f"{AT}/clearance", data={"step": "ask"}, headers=PARTIAL)
    assert "Keep it off. " in text_of(answer)
    assert 'hx-trigger="every 3s"' in answer.text
    form = {"step": "override", "clearance": 1, "seen": "waiting", "words": ""}
    refused = desk.post(f"{AT}/clearance", data=form, headers=PARTIAL)
    assert "Write why it may power up now" in text_of(refused)
    taken = desk.post(f"{AT}/clearance", data=form | {"words": "They are behind the net."}, headers=PARTIAL)
    assert "By the director's word: They are behind the net." in text_of(taken)


def test_whoever_waits_hears_of_another_answer_and_of_nothing_else(desk, database):
    with database.write() as session:
        flight_line.set_walkers(session, days.day_with(session, "tern"), True, "director", NOW)
    page = desk.post(f"{AT}/clearance", data={"step": "ask"}, headers=PARTIAL).text
    news = re.search(r'hx-get="([^"]+/news[^"]+)"', page)[1]
    assert desk.get(news, headers=PARTIAL).status_code == 204
    with database.write() as session:
        day = days.day_with(session, "tern")
        flight_line.set_walkers(session, day, False, "director", NOW)
        clearances.settle(session, day, NOW)
    assert "May switch on" in text_of(desk.get(news, headers=PARTIAL))


def test_the_bench_is_closed_to_strangers(client, database):
    with database.write() as session:
        make_pilot(session, make_day(session, code="tern"), "Wren")
    assert client.get(AT).status_code == 303
    assert client.post(f"{AT}/ticks/failsafe").status_code == 403


def test_a_check_made_elsewhere_meanwhile_is_not_overwritten(desk, database):
    old = seen(database)
    with database.write() as session:
        day = days.day_with(session, "tern")
        picture_checks.answer(session, day, pilots.by_id(session, 1, 1), "no", old["seen"], "director", NOW)
    answer = desk.post(f"{AT}/picture", data=old | {"step": "yes"}, headers=PARTIAL)
    assert answer.status_code == 409
    assert "Tune the receiver" in text_of(answer)


def test_the_bench_of_who_is_called_leads_to_the_flight_line_and_asks_for_nothing(desk, database):
    with database.write() as session:
        day = days.day_with(session, "tern")
        wren = pilots.of_day(session, day.id)[0]
        publish(session, day, [[(wren, "R1")]])
        call_heat(session, day)
    words = text_of(desk.get(AT))
    assert "POWER UP , says Wren's own page: the flight line has this transmitter now." in words
    assert "Ask to switch on" not in words
