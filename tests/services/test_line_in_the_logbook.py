"""Whatever happens at the flight line stands in the logbook with who, when and why."""

import json
from datetime import timedelta

import pytest

from server.services import call_slots, calls, clearances, flight_line, unasked
from server.services.flight_states import (
    BACK_IN_LINE,
    CALL_MOVES,
    LEAVE_OUT,
    NOT_CLEAR,
    PICTURE_IS_CLEAR,
    PILOT_MOVES,
    RELEASE,
    STAND_DOWN,
    TURN_OVERRIDDEN,
    YOUR_TURN,
)
from server.storage import calls as stored
from server.storage import logbook
from server.storage.tables import FLYING, LANDED, LANDING, OVER, PICTURE_CLEAR, POWERING_UP
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat, place, released

WHILE_POWERING_UP = {
    YOUR_TURN,
    TURN_OVERRIDDEN,
    PICTURE_IS_CLEAR,
    NOT_CLEAR,
    LEAVE_OUT,
    BACK_IN_LINE,
    STAND_DOWN,
}
LATER = NOW + timedelta(minutes=7)
PILOTS = [(stage, event) for stage, moves in PILOT_MOVES.items() for event in moves if event != RELEASE]
CALLS = [(stage, event) for stage, moves in CALL_MOVES.items() for event in moves]
WHERE_PILOTS_ARE = {POWERING_UP: PICTURE_CLEAR, FLYING: FLYING, LANDING: LANDED, OVER: LANDED}


@pytest.fixture
def day(session):
    day = make_day(session)
    wren = make_pilot(session, day, "Wren")
    publish(session, day, [[(wren, "R1")]])
    return day


def newest(session, day, action):
    """The newest row of this action: who, when, what it says, and what it keeps."""
    session.flush()
    entry = next(one for one in logbook.newest_first(session, day.id, 20) if one.action == action)
    return entry.who, entry.at, entry.text, json.loads(entry.data_json)


@pytest.mark.parametrize(("stage", "event"), PILOTS)
def test_every_move_of_a_pilot(session, day, stage, event):
    call = call_heat(session, day, 1)
    slot = place(session, day, "Wren")
    call.stage = POWERING_UP if event in WHILE_POWERING_UP else FLYING
    slot.stage = stage
    if event == TURN_OVERRIDDEN:
        unasked.note(session, day, make_pilot(session, day, "Rook"), "pits", "director", NOW)
    session.flush()
    call_slots.act(session, day, slot.id, slot.seen, event, "spotter", LATER, words="Behind the hill.")
    who, at, text, facts = newest(session, day, event)
    assert (who, at) == ("spotter", LATER)
    assert "Wren" in text
    assert (facts["before"], facts["stage"], facts["mhz"]) == (stage, PILOT_MOVES[stage][event], 5658)


@pytest.mark.parametrize(("stage", "event"), CALLS)
def test_every_move_of_a_heat(session, day, stage, event):
    call = released(session, day, 1) if stage != POWERING_UP else call_heat(session, day, 1)
    slot = place(session, day, "Wren")
    call.stage, slot.stage = stage, LANDING if event == "fly on" else WHERE_PILOTS_ARE[stage]
    session.flush()
    before = len(logbook.newest_first(session, day.id, 50))
    calls.act(session, day, event, call.seen, "director", LATER, reason="Because of the wind.")
    rows = logbook.newest_first(session, day.id, 50)
    row = rows[len(rows) - before - 1]
    assert (row.who, row.at) == ("director", LATER)
    assert "Heat 1" in row.text
    assert json.loads(row.data_json)["stage"] == CALL_MOVES[stage][event]
    assert ("Because of the wind." in row.text) == (event == "stop")


def test_a_turn_that_comes_by_itself_says_so(session, day):
    call_heat(session, day, 1)
    who, _, text, facts = newest(session, day, YOUR_TURN)
    assert (who, text) == ("bandstand", "Wren may power up on R1 5658.")
    assert (facts["before"], facts["stage"]) == ("waiting", "power up")


def test_what_holds_for_everybody(session, day):
    flight_line.everybody_land(session, day, "Air ambulance.", "spotter", LATER)
    assert newest(session, day, "everybody land")[:3] == (
        "spotter",
        LATER,
        "EVERYBODY LAND. Air ambulance.",
    )
    flight_line.lift(session, day, "director", LATER)
    assert newest(session, day, "everybody land lifted")[:2] == ("director", LATER)
    flight_line.set_walkers(session, day, True, "director", LATER)
    assert newest(session, day, "walkers on the field")[:2] == ("director", LATER)
    flight_line.set_walkers(session, day, False, "director", LATER)
    assert newest(session, day, "field clear")[:2] == ("director", LATER)


def test_a_clearance_that_is_overridden_keeps_the_words(session, day):
    call_heat(session, day, 1)
    otter = make_pilot(session, day, "Otter")
    clearance = clearances.ask(session, day, otter, "set-up", "pilot", NOW)
    assert newest(session, day, "asked for clearance")[0] == "pilot"
    clearances.override(session, day, clearance.id, clearance.seen, "I stand beside it.", "director", LATER)
    who, at, text, _ = newest(session, day, "clearance overridden")
    assert (who, at) == ("director", LATER)
    assert "I stand beside it." in text


def test_a_blocked_heat_that_is_called_all_the_same_keeps_the_words(session, day):
    otter = make_pilot(session, day, "Otter")
    clearance = clearances.ask(session, day, otter, "set-up", "pilot", NOW)
    clearances.is_on(session, day, clearance.id, clearance.seen, "pilot", NOW)
    call = call_heat(session, day, 1, override="It is far off.")
    who, _, text, facts = newest(session, day, "heat called")
    assert who == "director"
    assert "It is far off." in text
    assert "Otter" in " ".join(facts["against"])
    assert stored.live(session, day.id).id == call.id
