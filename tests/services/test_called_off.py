"""Outside a call beside the flight line: nobody who may be on is sent up again, or told to stay off."""

import pytest

from server.services import bench_views, call_settling, call_slots, clearances, flight_line, pilots
from server.services.errors import RefusedError
from server.services.line_desk import line_desk
from server.services.transmitter_words import Facts, is_known_on, word_for
from tests.factories import NOW, make_picture_check
from tests.services.called_days import call_heat, flown, page, press, released, step, words
from tests.services.changed_days import id_of, published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def pilot_of(session, day, callsign):
    return pilots.pilot_of(session, day, id_of(session, day, callsign))


def ask(session, day, callsign):
    return clearances.ask(session, day, pilot_of(session, day, callsign), "bench check", "desk", NOW)


def everybody_land(session, day):
    flight_line.everybody_land(session, day, "", "director", NOW)


def lift(session, day):
    flight_line.lift(session, day, "director", NOW)
    call_settling.settle(session, day, NOW)


class TestUnderEverybodyLand:
    @pytest.mark.parametrize("is_on", [False, True])
    def test_who_may_be_on_powers_off_and_lifting_it_changes_nothing_about_that(self, session, day, is_on):
        clearance = ask(session, day, "Rook")
        if is_on:
            clearances.is_on(session, day, clearance.id, clearance.seen, "pilot", NOW)
        everybody_land(session, day)
        assert words(session, day)["Rook"] == "DISARM THEN POWER OFF"
        lift(session, day)
        assert words(session, day)["Rook"] == "DISARM THEN POWER OFF"
        assert page(session, day, "Rook").reason == "Power off now, then press the button."

    def test_off_it_stays_off_until_it_asks_again(self, session, day):
        clearance = ask(session, day, "Quill")
        everybody_land(session, day)
        clearances.is_off(session, day, clearance.id, clearance.seen, "pilot", NOW)
        lift(session, day)
        assert words(session, day)["Quill"] == "STAY OFF"
        assert ask(session, day, "Quill").stage == "cleared"

    def test_who_waits_goes_on_waiting(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Rook")
        everybody_land(session, day)
        assert clearance.stage == "waiting"

    def test_the_director_lifts_it_before_overriding(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Rook")
        everybody_land(session, day)
        with pytest.raises(RefusedError, match="the director lifts it first"):
            clearances.override(session, day, clearance.id, "waiting", "All clear.", "director", NOW)
        assert clearance.stage == "waiting"

    @pytest.mark.parametrize(("was_on", "stale"), [(False, False), (True, True)])
    def test_only_who_was_said_to_be_on_is_known_to_be(self, was_on, stale):
        assert is_known_on(Facts(clearance="called off", clearance_was_on=was_on)) is stale


def test_who_is_called_off_still_stands_against_the_next_call(session, day):
    ask(session, day, "Rook")
    everybody_land(session, day)
    lift(session, day)
    with pytest.raises(RefusedError, match="Rook may be on outside a call"):
        call_heat(session, day)


def test_who_may_be_on_in_the_pits_is_not_called_even_by_override(session, day):
    clearance = ask(session, day, "Wren")
    with pytest.raises(RefusedError, match="Wren may be on outside a call, and would be told not to power"):
        call_heat(session, day, override="It is Wren's own heat.")
    clearances.is_off(session, day, clearance.id, clearance.seen, "desk", NOW)
    assert call_heat(session, day).stage == "powering up"


def test_who_may_be_on_in_the_pits_does_not_come_back_in_line(session, day):
    call_heat(session, day)
    press(session, day, "Otter", "leave out")
    clearance = ask(session, day, "Otter")
    clearances.override(session, day, clearance.id, "waiting", "At the van.", "director", NOW)
    with pytest.raises(RefusedError, match="Otter may be on outside a call: note it as off there first"):
        press(session, day, "Otter", "back in line")
    assert words(session, day)["Otter"] == "POWER UP"


class TestFlyingOnAfterTheEndIsUndone:
    @pytest.fixture
    def reopened(self, session, day):
        """Heat 1 was over, Rook was cleared in the pits, and the heat is not over after all."""
        flown(session, day)
        clearance = ask(session, day, "Rook")
        call_slots.undo(session, day, call_slots.undo_seen(session, day)[1], "director", NOW)
        press(session, day, "Wren", "still up")
        return clearance

    def test_nobody_flies_on_beside_who_was_cleared_since(self, session, day, reopened):
        with pytest.raises(
            RefusedError, match="Rook may be on outside a call, bench check: wait until it is off"
        ):
            step(session, day, "fly on")
        assert words(session, day)["Wren"] == "LAND"

    def test_once_it_is_off_the_heat_flies_on(self, session, day, reopened):
        clearances.is_off(session, day, reopened.id, reopened.seen, "desk", NOW)
        step(session, day, "fly on")
        assert words(session, day)["Wren"] == "FLY"

    def test_what_the_directors_word_let_on_does_not_hold_it_up(self, session, day, reopened):
        reopened.words = "Behind the van."
        step(session, day, "fly on")
        assert words(session, day)["Wren"] == "FLY"

    def test_where_the_day_goes_by_computation_so_does_this(self, session, day, reopened):
        flight_line.save_hours(session, day, {"beside": "yes"}, "director", NOW)
        with pytest.raises(RefusedError, match="Rook may be on"):
            step(session, day, "fly on")


def test_walkers_tell_who_is_cleared_not_to_power_up(session, day):
    ask(session, day, "Rook")
    flight_line.set_walkers(session, day, True, "director", NOW)
    rook = page(session, day, "Rook")
    assert (rook.word, rook.reason) == (
        "READY",
        "Walkers are on the field. Do not power up. On already? Leave the motors disarmed and wait.",
    )


def test_the_bench_says_what_the_pilots_own_page_says(session, day):
    ask(session, day, "Rook")
    before = bench_views.bench(session, day, pilot_of(session, day, "Rook"))
    flight_line.set_walkers(session, day, True, "director", NOW)
    after = bench_views.bench(session, day, pilot_of(session, day, "Rook"))
    assert (before.word, after.word) == ("POWER UP", "READY")
    assert before.leave_mark != after.leave_mark


def test_a_reason_without_a_stop_is_a_sentence_of_its_own(session, day):
    flight_line.everybody_land(session, day, "A walker is on the strip", "director", NOW)
    assert page(session, day, "Rook").reason == (
        "A walker is on the strip. Nobody switches on until the director lifts it."
    )


def test_a_stage_of_a_clearance_never_sends_up_who_is_called_off():
    assert word_for(Facts(clearance="called off", is_next=True)) == "DISARM THEN POWER OFF"


def test_a_transmitter_found_on_another_channel_is_told_before_the_call(session, day):
    make_picture_check(session, pilot_of(session, day, "Wren"), 5658, "wrong")
    assert line_desk(session, day, NOW).next.is_wrong == ("Wren",)
