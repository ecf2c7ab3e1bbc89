import pytest

from server.services import bench_checks, clearances, picture_checks
from server.services.bench_views import bench, chance_words, channel_named
from server.services.lineup import gear_mark
from server.storage import pilots
from server.storage.tables import BENCH_CHECK
from tests.factories import NOW, make_aircraft, make_picture_check, make_pilot
from tests.services.changed_days import id_of, published_day
from tests.services.planned_days import day_with_pilots


@pytest.fixture
def day(session):
    return day_with_pilots(session, "Otter")


@pytest.fixture
def wren(session, day):
    return make_pilot(session, day, "Wren", provisional_mhz=5732)


def read(session, day, pilot, *bars_by_mhz):
    for tuned, bars in bars_by_mhz:
        typed = {"tuned": str(tuned), "level": str(bars), "unit": "bars"}
        seen = bench(session, day, pilot).picture.seen
        picture_checks.read(session, day, pilot, typed, seen, "desk", NOW)


def test_five_items_have_the_keys_one_to_five_and_the_power_is_named(session, day, wren):
    shown = bench(session, day, wren)
    assert [one.press for one in shown.items] == ["1", "2", "3", "4", "5"]
    assert shown.items[-1].words == "Power is set to 25 mW"
    assert not any(one.is_done for one in shown.items)
    bench_checks.tick(session, day, wren, "failsafe", shown.gear, "desk", NOW)
    first = bench(session, day, wren).items[0]
    assert (first.is_done, first.who, first.at) == (True, "desk", NOW)


def test_the_power_is_that_of_the_published_slot(session):
    day = published_day(session)
    wren = pilots.by_id(session, day.id, id_of(session, day, "Wren"))
    shown = bench(session, day, wren)
    assert (shown.channel.mhz, shown.power_mw) == (5658, 25)


def test_a_picture_check_says_what_was_found_and_how_sure(session, day, wren):
    make_picture_check(session, wren, 5732, "wrong", found_json="[5865, 5866]", chance=0.9931)
    look = bench(session, day, wren).picture
    assert (look.verdict, look.found, look.chance) == (
        "wrong",
        "A1 5865 or B8 5866",
        "99.3\N{NO-BREAK SPACE}%",
    )


def test_nothing_is_more_than_nearly_certain():
    assert chance_words(0.9995) == "more than 99.9\N{NO-BREAK SPACE}%"
    assert chance_words(0.371) == "37.1\N{NO-BREAK SPACE}%"


def test_who_is_to_be_near_the_wrong_channel_is_at_risk(session):
    day = published_day(session)
    wren = pilots.by_id(session, day.id, id_of(session, day, "Wren"))
    make_picture_check(session, wren, 5658, "wrong", found_json="[5685]", chance=0.999)
    # Otter and Quill are to be on R2 5695, 10 MHz from E2; Rook on R1 5658 is 27 MHz away.
    assert bench(session, day, wren).at_risk == ("Otter R2 5695 in heat 1", "Quill R2 5695 in heat 2")


def test_nobody_is_at_risk_by_a_check_that_is_right(session):
    day = published_day(session)
    wren = pilots.by_id(session, day.id, id_of(session, day, "Wren"))
    make_picture_check(session, wren, 5658)
    assert bench(session, day, wren).at_risk == ()


def test_bars_say_consistent_or_not_and_never_how_sure(session, day, wren):
    read(session, day, wren, (5732, 5))
    assert bench(session, day, wren).picture.said == "These bars do not test the channel yet."
    read(session, day, wren, (5752, 2))
    look = bench(session, day, wren).picture
    assert look.said.startswith("Consistent with R3 5732. So they are with ")
    assert (look.likely, look.chance) == ((), "")


def test_bars_that_contradict_say_what_they_agree_with(session, day, wren):
    read(session, day, wren, (5732, 1), (5752, 5))
    said = bench(session, day, wren).picture.said
    assert said.startswith("Not consistent with R3 5732, but with ")
    assert "B2 5752" in said


def test_readings_that_nothing_explains_say_so(session, day, wren):
    for tuned, level in ((5732, -40), (5733, -80)):
        typed = {"tuned": str(tuned), "level": str(level), "unit": "dB"}
        seen = bench(session, day, wren).picture.seen
        picture_checks.read(session, day, wren, typed, seen, "desk", NOW)
    assert "No channel explains these readings" in bench(session, day, wren).picture.said


def test_a_pilot_without_a_channel_has_no_picture_check(session, day):
    rook = make_pilot(session, day, "Rook")
    shown = bench(session, day, rook)
    assert shown.picture is None
    assert "no channel yet" in shown.channel.why_not


def test_next_comes_whoever_follows_by_callsign_and_is_not_through(session, day, wren):
    make_pilot(session, day, "Zephyr", provisional_mhz=5800)
    assert bench(session, day, wren).next_row.pilot.callsign == "Zephyr"
    zephyr = pilots.by_callsign_key(session, day.id, "zephyr")
    assert bench(session, day, zephyr).next_row.pilot.callsign == "Otter"


def test_nobody_comes_next_when_all_are_through(session, day):
    otter = pilots.by_callsign_key(session, day.id, "otter")
    assert bench(session, day, otter).next_row is None


def test_leave_to_switch_on_is_shown_with_its_answer(session, day, wren):
    assert bench(session, day, wren).clearance is None
    clearances.ask(session, day, wren, BENCH_CHECK, "director", NOW)
    assert bench(session, day, wren).clearance.stage == "cleared"


def test_the_list_names_a_channel_as_its_pilot_does(session, day, wren):
    rows = {row.pilot.callsign: channel_named(row) for row in bench_checks.rows(session, day)}
    assert rows == {"Otter": "", "Wren": "R3 5732"}
    spare = make_aircraft(session, wren, "5740")
    wren.flying_aircraft_id, wren.provisional_mhz = spare.id, 5801
    session.flush()
    assert channel_named(bench_checks.rows(session, day)[1]) == "5801 MHz"
    assert gear_mark(spare) == f"{spare.id}.1"
