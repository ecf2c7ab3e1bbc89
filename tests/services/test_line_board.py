import pytest

from server.services import board, clearances, days, flight_line
from server.services.line_board import LineOnBoard
from server.storage import pilots
from server.storage.tables import WITHDRAWN
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat, flown, page, press, released, stages, step, words

CREW = ("Wren", "Otter", "Rook")
NEXT = ("Quill", "Coot")
STEPS = ("land", "all landed", "end")


@pytest.fixture
def day(session):
    """Wren, Otter and Rook in heat 1, Quill and Coot in heat 2; Teasel is in neither."""
    day = make_day(session, code="tern", aircraft=4)
    crew = [make_pilot(session, day, name) for name in CREW]
    rest = [make_pilot(session, day, name) for name in NEXT]
    make_pilot(session, day, "Teasel")
    one = list(zip(crew, ("R1", "R3", "R5"), strict=True))
    publish(session, day, [one, list(zip(rest, ("R2", "R4"), strict=True))])
    return day


def shown(session, day) -> LineOnBoard:
    session.flush()
    return board.board_of(session, day.code).line


def by_callsign(pilots):
    return {pilot.callsign: pilot.word for pilot in pilots}


def others(line):
    return {group.word: group.callsigns for group in line.others}


def test_before_the_first_call_the_next_heat_is_ready_and_everybody_else_stays_off(session, day):
    line = shown(session, day)
    assert (line.now, line.now_named, line.next_heat) == ((), "", 1)
    assert by_callsign(line.upcoming) == dict.fromkeys(CREW, "READY")
    assert others(line) == {"STAY OFF": tuple(sorted((*NEXT, "Teasel")))}


def test_the_heat_that_is_up_stands_in_the_order_of_powering_up_with_its_channels(session, day):
    call_heat(session, day, 1)
    line = shown(session, day)
    assert (line.now_named, line.stage, line.heats_up) == ("Heat 1", "powering up", (1,))
    assert [pilot.callsign for pilot in line.now] == list(stages(session, day))
    assert {(pilot.callsign, pilot.channel, pilot.mhz) for pilot in line.now} == {
        ("Wren", "R1", 5658),
        ("Otter", "R3", 5732),
        ("Rook", "R5", 5806),
    }
    assert (line.next_heat, by_callsign(line.upcoming)) == (2, dict.fromkeys(NEXT, "READY"))


def test_while_it_powers_up_every_word_is_the_one_of_the_pilots_own_page(session, day):
    call_heat(session, day, 1)
    press(session, day, next(iter(stages(session, day))), "picture is clear")
    on_phones = words(session, day)
    assert sorted(on_phones[callsign] for callsign in CREW) == ["POWER UP", "POWER UP", "READY"]
    assert by_callsign(shown(session, day).now) == {callsign: on_phones[callsign] for callsign in CREW}


@pytest.mark.parametrize("last", STEPS)
def test_every_word_is_the_one_of_the_pilots_own_page(session, day, last):
    released(session, day, 1)
    for event in STEPS[: STEPS.index(last) + 1]:
        step(session, day, event)
    line = shown(session, day)
    on_phones = words(session, day)
    on_board = by_callsign((*line.now, *line.upcoming))
    assert on_board == {callsign: on_phones[callsign] for callsign in on_board}
    assert {name: group.word for group in line.everybody for name in group.callsigns} == on_phones


def test_in_doubt_it_says_what_the_pilots_own_page_says_in_doubt(session, day):
    released(session, day, 1)
    line = shown(session, day)
    for pilot in (*line.now, *line.upcoming):
        assert pilot.word_in_doubt == page(session, day, pilot.callsign).word_in_doubt
    assert {pilot.word_in_doubt for pilot in line.now} == {"ASK THE DIRECTOR"}


def test_a_pilot_of_the_next_heat_who_flies_now_has_the_word_of_the_heat_that_is_up(session, day):
    umber = make_pilot(session, day, "Umber")
    publish(session, day, [[(umber, "R1")], [(umber, "R1")]])
    released(session, day, 1)
    assert by_callsign(shown(session, day).upcoming) == {"Umber": "FLY"}


def test_a_transmitter_that_is_down_is_named_with_its_channel_until_it_is_found(session, day):
    released(session, day, 1)
    press(session, day, "Rook", "down")
    step(session, day, "land")
    step(session, day, "all landed")
    step(session, day, "end")
    assert others(shown(session, day))["DOWN, STILL ON"] == ("Rook R5 5806",)
    press(session, day, "Rook", "found")
    assert "DOWN, STILL ON" not in others(shown(session, day))


def test_who_left_the_day_is_not_listed(session, day):
    make_pilot(session, day, "Umber", state=WITHDRAWN)
    assert "Umber" not in repr(shown(session, day))


def test_everybody_land_gives_the_reason_and_the_way_out_of_each(session, day):
    released(session, day, 1)
    flight_line.everybody_land(session, day, "Air ambulance.", "director", NOW)
    line = shown(session, day)
    assert line.everybody_land == "Air ambulance."
    assert by_callsign(line.now) == dict.fromkeys(CREW, "LAND")
    assert {group.word: len(group.callsigns) for group in line.everybody} == {"LAND": 3, "STAY OFF": 3}


def test_walkers_are_on_the_board(session, day):
    assert not shown(session, day).walkers
    flight_line.set_walkers(session, day, True, "director", NOW)
    assert shown(session, day).walkers


def test_each_heat_of_the_plan_says_where_it_stands(session, day):
    flown(session, day, 1)
    line = shown(session, day)
    assert [line.state_of(heat) for heat in (1, 2, 3)] == ["flown", "next", ""]
    call_heat(session, day, 2)
    assert shown(session, day).state_of(2) == "powering up"


def test_after_the_last_heat_nobody_is_next(session, day):
    flown(session, day, 1)
    flown(session, day, 2)
    line = shown(session, day)
    assert (line.next_heat, line.upcoming, line.is_in_use) == (None, (), False)
    assert others(line) == {"STAY OFF": tuple(sorted((*CREW, *NEXT, "Teasel")))}


@pytest.mark.parametrize(("up", "columns"), [(1, 2), (4, 2), (5, 3), (6, 3), (7, 4), (8, 4), (9, 4)])
def test_up_to_eight_pilots_stand_in_two_rows(session, up, columns):
    day = make_day(session, aircraft=9)
    publish(session, day, [[(make_pilot(session, day, f"P{n}"), 5650 + 30 * n) for n in range(up)]])
    assert shown(session, day).columns == columns


def test_an_archived_day_has_no_heat_next(session, day):
    days.archive(session, day.code, NOW)
    assert shown(session, day).upcoming == ()


def test_who_stays_off_stands_by_the_alphabet(session, day):
    for callsign in ("zephyr", "Biscuit"):
        make_pilot(session, day, callsign)
    assert others(shown(session, day))["STAY OFF"] == ("Biscuit", "Coot", "Quill", "Teasel", "zephyr")


def test_who_may_be_on_outside_a_call_is_told_with_what_for(session, day):
    for pilot in pilots.of_day(session, day.id):
        if pilot.callsign in ("Wren", "Teasel"):
            clearances.ask(session, day, pilot, "retune", "desk", NOW)
    line = shown(session, day)
    assert {pilot.callsign: pilot.note for pilot in line.upcoming}["Wren"] == "retune"
    assert others(line)["POWER UP"] == ("Teasel (retune)",)
