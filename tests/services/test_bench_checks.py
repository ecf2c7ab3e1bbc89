import json

import pytest

from server.services import aircraft, bench_checks, days, site
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.lineup import gear_mark
from server.services.roster_rows import set_up_text
from server.services.site_fields import fields_of
from server.services.stale_forms import Form
from server.storage import bench_ticks, logbook, pilots
from server.storage.tables import BENCH_ITEMS, WITHDRAWN
from tests.factories import NOW, make_aircraft, make_picture_check, make_pilot
from tests.services.planned_days import day_with_pilots

ALL = ("failsafe", "arming switch", "control link", "antenna", "power", "channel")


@pytest.fixture
def day(session):
    return day_with_pilots(session, "Otter")


@pytest.fixture
def wren(session, day):
    return make_pilot(session, day, "Wren", provisional_mhz=5732)


def main_of(session, pilot):
    return pilots.aircraft_of(session, pilot.id)[0]


def tick(session, day, pilot, *items):
    for item in items:
        bench_checks.tick(session, day, pilot, item, gear_mark(main_of(session, pilot)), "desk", NOW)


def newest(session, day):
    return logbook.newest_first(session, day.id, 1)[0]


def test_everything_is_missing_at_first_and_nothing_once_all_is_seen(session, day, wren):
    assert bench_checks.missing(session, day, wren) == ALL
    tick(session, day, wren, *BENCH_ITEMS)
    assert bench_checks.missing(session, day, wren) == ("channel",)
    make_picture_check(session, wren, 5732)
    assert bench_checks.missing(session, day, wren) == ()


def test_a_tick_keeps_who_and_when_in_the_logbook_too(session, day, wren):
    tick(session, day, wren, "failsafe")
    found = bench_checks.ticks_of(session, main_of(session, wren))["failsafe"]
    assert (found.who, found.at) == ("desk", NOW)
    entry = newest(session, day)
    assert (entry.who, entry.text) == ("desk", "Wren, main: bench check, failsafe seen.")
    assert json.loads(entry.data_json)["item"] == "failsafe"


def test_a_second_press_changes_nothing(session, day, wren):
    tick(session, day, wren, "failsafe")
    before = newest(session, day).id
    tick(session, day, wren, "failsafe")
    assert newest(session, day).id == before


def test_a_tick_can_be_taken_back_and_ticked_again(session, day, wren):
    tick(session, day, wren, "arming")
    gear = gear_mark(main_of(session, wren))
    for _ in range(2):
        bench_checks.take_back(session, day, wren, "arming", gear, "desk", NOW)
    assert "arming switch" in bench_checks.missing(session, day, wren)
    assert newest(session, day).action == "bench tick undone"
    tick(session, day, wren, "arming")
    assert "arming switch" not in bench_checks.missing(session, day, wren)


def test_another_video_set_up_asks_for_antenna_and_power_anew_but_not_for_the_failsafe(session, day, wren):
    tick(session, day, wren, *BENCH_ITEMS)
    main = main_of(session, wren)
    text = set_up_text(main)
    form = Form({**text, "power_mw": "200"}, text, main.version)
    aircraft.change_set_up(session, day, wren, main, form, "desk", NOW)
    assert bench_checks.missing(session, day, wren) == ("antenna", "power", "channel")
    tick(session, day, wren, "power")
    assert bench_checks.missing(session, day, wren) == ("antenna", "channel")


def test_a_spare_has_a_bench_check_of_its_own(session, day, wren):
    tick(session, day, wren, *BENCH_ITEMS)
    spare, main = make_aircraft(session, wren, name="spare 1"), main_of(session, wren)
    aircraft.fly(session, day, wren, spare, "desk", NOW)
    assert bench_checks.missing(session, day, wren) == ALL
    aircraft.fly(session, day, wren, main, "desk", NOW)
    assert bench_checks.missing(session, day, wren) == ("channel",)


def test_an_old_page_ticks_nothing_on_another_aircraft(session, day, wren):
    seen = gear_mark(main_of(session, wren))
    aircraft.fly(session, day, wren, make_aircraft(session, wren, name="spare 1"), "desk", NOW)
    with pytest.raises(OvertakenError, match="Wren's aircraft or its set-up changed"):
        bench_checks.tick(session, day, wren, "failsafe", seen, "desk", NOW)


def test_what_cannot_be_ticked_is_refused(session, day, wren):
    gear = gear_mark(main_of(session, wren))
    with pytest.raises(InputError):
        bench_checks.tick(session, day, wren, "channel", gear, "desk", NOW)
    wren.state = WITHDRAWN
    with pytest.raises(RefusedError, match="Wren is withdrawn"):
        bench_checks.tick(session, day, wren, "failsafe", gear, "desk", NOW)
    day.archived_at = NOW
    with pytest.raises(RefusedError, match="archived"):
        bench_checks.tick(session, day, wren, "failsafe", gear, "desk", NOW)


def test_other_than_analogue_video_needs_no_picture(session, day, wren):
    main = main_of(session, wren)
    main.video, main.centre_mhz, main.width_mhz = "other", 5800, 20
    session.flush()
    assert bench_checks.missing(session, day, wren) == ALL[:-1]


def test_it_keeps_nobody_from_flying_unless_the_day_needs_it(session, day, wren):
    assert bench_checks.missing_checks(session, day, wren) == ()
    bench_checks.demand(session, day, True, "director", NOW)
    assert bench_checks.missing_checks(session, day, wren) == ALL
    assert newest(session, day).text == "Nobody flies before the bench check."
    before = newest(session, day).id
    bench_checks.demand(session, day, True, "director", NOW)
    assert newest(session, day).id == before


def test_saving_the_site_keeps_what_the_day_needs(session, day):
    bench_checks.demand(session, day, True, "director", NOW)
    text = fields_of(day)
    site.save(session, day, Form({**text, "far_m": "90"}, text, day.version), NOW)
    assert days.settings_of(day).site.far_m == 90
    assert bench_checks.is_needed(day)


def test_the_list_has_whoever_is_here_those_who_are_through_last(session, day, wren):
    make_pilot(session, day, "Bramble", state=WITHDRAWN)
    tick(session, day, otter := pilots.by_callsign_key(session, day.id, "otter"), *BENCH_ITEMS)
    otter.provisional_mhz = 5800
    make_picture_check(session, otter, 5800)
    found = bench_checks.rows(session, day)
    assert [(row.pilot.callsign, row.mhz, row.missing) for row in found] == [
        ("Wren", 5732, ALL),
        ("Otter", 5800, ()),
    ]


def test_two_live_ticks_of_one_item_cannot_be_stored(session, day, wren):
    tick(session, day, wren, "failsafe")
    assert len(bench_ticks.of_day(session, day.id)) == 1
