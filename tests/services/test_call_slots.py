import pytest

from server.services import call_settling, call_slots, down_transmitters, pilots
from server.services.errors import NotFoundError, OvertakenError, RefusedError
from server.storage import logbook
from server.storage.tables import WITHDRAWN
from tests.factories import NOW
from tests.services.called_days import call_heat, page, place, press, released, stages, step, words
from tests.services.changed_days import happen, id_of, published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def by_phone(session, day, callsign, event):
    pilot = pilots.pilot_of(session, day, id_of(session, day, callsign))
    slot = place(session, day, callsign)
    call_slots.act_of_pilot(session, day, pilot, slot.id, slot.seen, event, NOW)
    return slot


def test_a_pilot_does_from_the_phone_what_the_page_offers(session, day):
    call_heat(session, day)
    assert page(session, day, "Wren").call.acts == ("picture is clear",)
    by_phone(session, day, "Wren", "picture is clear")
    by_phone(session, day, "Otter", "picture is clear")
    step(session, day, "release")
    assert page(session, day, "Wren").call.acts == ("landed",)
    by_phone(session, day, "Wren", "landed")
    by_phone(session, day, "Wren", "off")
    assert stages(session, day) == {"Wren": "off", "Otter": "flying"}
    assert logbook.newest_first(session, day.id, 1)[0].who == "pilot"


@pytest.mark.parametrize("event", ["your turn", "land", "stand down", "down", "still up"])
def test_a_phone_does_nothing_that_is_the_directors(session, day, event):
    call_heat(session, day)
    with pytest.raises(NotFoundError):
        by_phone(session, day, "Wren", event)


def test_a_phone_does_nothing_to_another_pilot(session, day):
    call_heat(session, day)
    otter = pilots.pilot_of(session, day, id_of(session, day, "Otter"))
    slot = place(session, day, "Wren")
    with pytest.raises(NotFoundError):
        call_slots.act_of_pilot(session, day, otter, slot.id, slot.seen, "picture is clear", NOW)


def test_the_second_of_two_presses_is_told_so(session, day):
    call_heat(session, day)
    slot = place(session, day, "Wren")
    seen = slot.seen
    call_slots.act(session, day, slot.id, seen, "picture is clear", "director", NOW)
    with pytest.raises(OvertakenError, match="Wren's place changed since"):
        call_slots.act(session, day, slot.id, seen, "picture is clear", "pilot", NOW)


def test_what_cannot_happen_now_is_refused_with_a_sentence(session, day):
    call_heat(session, day)
    with pytest.raises(RefusedError, match="Otter waits for its turn: a picture is confirmed while"):
        press(session, day, "Otter", "picture is clear")
    with pytest.raises(RefusedError, match="Wren powers up now, one at a time"):
        press(session, day, "Otter", "your turn")


def test_there_is_no_releasing_one_pilot(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "picture is clear")
    with pytest.raises(NotFoundError):
        press(session, day, "Wren", "release")


def test_who_stands_down_powers_off_comes_back_in_line_and_has_the_turn_after_the_next(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "stand down")
    assert stages(session, day) == {"Wren": "landed", "Otter": "waiting"}
    press(session, day, "Wren", "off")
    press(session, day, "Wren", "back in line")
    assert stages(session, day) == {"Wren": "waiting", "Otter": "power up"}
    press(session, day, "Otter", "picture is clear")
    assert stages(session, day) == {"Wren": "power up", "Otter": "picture clear"}


def test_who_has_the_turn_powers_off_when_the_picture_before_it_is_not_clear_after_all(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "picture is clear")
    press(session, day, "Wren", "not clear")
    assert stages(session, day) == {"Wren": "power up", "Otter": "landed"}
    assert words(session, day)["Otter"] == "DISARM THEN POWER OFF"
    wren, otter = logbook.newest_first(session, day.id, 2)
    assert wren.text == "Wren: the picture is not clear after all."
    assert otter.text == (
        "Otter stands down, since Wren powers up again: disarm, power off, then back in line."
    )


def test_who_stood_down_for_it_has_the_next_turn_once_it_is_off_and_back_in_line(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "picture is clear")
    press(session, day, "Wren", "not clear")
    press(session, day, "Otter", "off")
    press(session, day, "Otter", "back in line")
    assert stages(session, day) == {"Wren": "power up", "Otter": "waiting"}
    press(session, day, "Wren", "picture is clear")
    assert stages(session, day) == {"Wren": "picture clear", "Otter": "power up"}


def test_nobody_stands_down_for_a_picture_that_is_not_clear_where_nobody_has_the_turn(session, day):
    call_heat(session, day)
    press(session, day, "Wren", "picture is clear")
    press(session, day, "Otter", "picture is clear")
    press(session, day, "Otter", "not clear")
    assert stages(session, day) == {"Wren": "picture clear", "Otter": "power up"}


def test_who_was_noted_as_landed_and_is_in_the_air_is_told_to_land(session, day):
    released(session, day)
    press(session, day, "Wren", "landed")
    press(session, day, "Wren", "still up")
    assert words(session, day)["Wren"] == "LAND"


def test_one_pilot_is_called_down_and_flies_on(session, day):
    released(session, day)
    press(session, day, "Wren", "land")
    assert words(session, day)["Wren"] == "LAND"
    assert words(session, day)["Otter"] == "FLY"
    press(session, day, "Wren", "flies on")
    assert words(session, day)["Wren"] == "FLY"


class TestDown:
    def test_it_holds_its_channel_until_it_is_found(self, session, day):
        released(session, day)
        press(session, day, "Otter", "down")
        lost = down_transmitters.still_on(session, day)[0]
        assert (lost.callsign, lost.mhz, lost.power_mw) == ("Otter", 5695, 25)
        assert words(session, day)["Otter"] == "DOWN, STILL ON"
        press(session, day, "Otter", "found")
        assert down_transmitters.still_on(session, day) == []
        assert stages(session, day)["Otter"] == "off"

    def test_the_heat_ends_without_it_and_its_phone_goes_on_saying_so(self, session, day):
        released(session, day)
        press(session, day, "Otter", "down")
        for event in ("land", "all landed", "end"):
            step(session, day, event)
        assert day.flown_heats == 1
        assert words(session, day)["Otter"] == "DOWN, STILL ON"

    def test_what_is_found_on_another_page_is_off_on_the_line(self, session, day):
        released(session, day)
        press(session, day, "Otter", "down")
        lost = down_transmitters.still_on(session, day)[0]
        down_transmitters.found(session, day, lost.id, NOW)
        call_settling.settle(session, day, NOW)
        assert stages(session, day)["Otter"] == "off"

    def test_what_is_lost_on_another_page_is_down_on_the_line_with_the_calls_channel(self, session, day):
        released(session, day)
        happen(session, day, "down", pilot=id_of(session, day, "Otter"))
        call_settling.settle(session, day, NOW)
        assert stages(session, day)["Otter"] == "down, still on"
        assert down_transmitters.still_on(session, day)[0].mhz == 5695

    def test_a_mistake_is_taken_back_into_landing(self, session, day):
        released(session, day)
        press(session, day, "Otter", "down")
        press(session, day, "Otter", "still up")
        assert stages(session, day)["Otter"] == "landing"
        assert down_transmitters.still_on(session, day) == []


class TestSettling:
    def withdraw(self, session, day, callsign):
        pilot = pilots.pilot_of(session, day, id_of(session, day, callsign))
        pilots.set_state(session, day, pilot, WITHDRAWN, "desk", NOW)
        call_settling.settle(session, day, NOW)

    def test_who_leaves_while_waiting_is_left_out(self, session, day):
        call_heat(session, day)
        self.withdraw(session, day, "Otter")
        assert stages(session, day) == {"Wren": "power up", "Otter": "left out"}

    def test_who_leaves_while_powering_up_powers_off_and_then_the_turn_goes_on(self, session, day):
        call_heat(session, day)
        self.withdraw(session, day, "Wren")
        assert stages(session, day) == {"Wren": "landed", "Otter": "waiting"}
        assert words(session, day)["Wren"] == "DISARM THEN POWER OFF"
        press(session, day, "Wren", "off")
        assert stages(session, day) == {"Wren": "off", "Otter": "power up"}

    def test_who_leaves_in_the_air_is_called_to_land(self, session, day):
        released(session, day)
        self.withdraw(session, day, "Wren")
        assert stages(session, day) == {"Wren": "landing", "Otter": "flying"}
        assert logbook.newest_first(session, day.id, 1)[0].text == "Wren left the day and comes off the line."

    def test_a_second_look_changes_nothing(self, session, day):
        call_heat(session, day)
        before = logbook.newest_first(session, day.id, 1)[0].id
        call_settling.settle(session, day, NOW)
        assert logbook.newest_first(session, day.id, 1)[0].id == before
