import pytest

from server.services import call_settling, flight_line, open_flying, turns
from server.services.board import board_of_day
from server.services.day_now import DayNow
from server.services.errors import InputError, RefusedError
from server.storage import calls, logbook, pilots
from tests.factories import NOW
from tests.services.called_days import call_heat, page, press, released, stages, step, words
from tests.services.changed_days import published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def everybody_land(session, day, reason="A helicopter."):
    flight_line.everybody_land(session, day, reason, "director", NOW)


class TestEverybodyLand:
    def test_by_stage_nobody_powers_off_in_the_air(self, session, day):
        released(session, day)
        everybody_land(session, day)
        assert words(session, day) == {
            "Wren": "LAND",
            "Otter": "LAND",
            "Rook": "STAY OFF",
            "Quill": "STAY OFF",
        }
        assert page(session, day, "Wren").reason == (
            "A helicopter. Fly home and land now. Nobody powers off in the air."
        )
        assert page(session, day, "Rook").reason.startswith("A helicopter. Nobody switches on")

    def test_who_is_on_but_not_released_powers_off_after_flying_home_if_in_the_air(self, session, day):
        call_heat(session, day)
        press(session, day, "Wren", "picture is clear")
        everybody_land(session, day)
        assert words(session, day)["Wren"] == words(session, day)["Otter"] == "DISARM THEN POWER OFF"
        assert "If you are in the air, fly home first." in page(session, day, "Wren").reason

    def test_at_open_flying_who_flies_lands_and_nobody_goes_up(self, session, day):
        open_flying.open_up(session, day, False, "director", NOW)
        wren, otter, rook = pilots.of_day(session, day.id)[:3]
        flies, on = (turns.ask(session, day, one, "pilot", NOW) for one in (wren, otter))
        for turn, acts in ((flies, ("set", "clear")), (on, ("set", "up"))):
            for act in acts:
                turns.act(session, day, turn, turn.seen, act, "director", NOW)
        everybody_land(session, day)
        found = words(session, day)
        assert (found["Wren"], found["Otter"]) == ("LAND", "DISARM THEN POWER OFF")
        with pytest.raises(RefusedError, match="EVERYBODY LAND is on"):
            turns.act(session, day, flies, flies.seen, "fly-on", "director", NOW)
        assert turns.ask(session, day, rook, "pilot", NOW).stage == "waiting"

    def test_nobody_is_called_until_it_is_lifted(self, session, day):
        everybody_land(session, day)
        with pytest.raises(RefusedError, match="EVERYBODY LAND is on"):
            call_heat(session, day)
        flight_line.lift(session, day, "director", NOW)
        assert call_heat(session, day).stage == "powering up"

    def test_lifting_it_sends_nobody_up_again(self, session, day):
        released(session, day)
        everybody_land(session, day)
        flight_line.lift(session, day, "director", NOW)
        assert words(session, day)["Wren"] == "LAND"
        step(session, day, "fly on")
        assert words(session, day)["Wren"] == "FLY"

    def test_a_heat_that_it_ended_does_not_count_unless_the_director_says_so(self, session, day):
        released(session, day)
        everybody_land(session, day)
        assert not calls.live(session, day.id).counts

    def test_the_logbook_says_who_when_why_and_a_second_press_adds_nothing(self, session, day):
        everybody_land(session, day)
        everybody_land(session, day)
        everybody_land(session, day, "")
        rows = [one for one in logbook.newest_first(session, day.id, 5) if one.action == "everybody land"]
        assert [(one.who, one.text, one.at) for one in rows] == [
            ("director", "EVERYBODY LAND. A helicopter.", NOW)
        ]

    def test_another_reason_takes_the_place_of_the_first(self, session, day):
        everybody_land(session, day, "")
        assert page(session, day, "Wren").everybody_land == "The director calls everybody down."
        everybody_land(session, day, "  A  helicopter.  ")
        assert page(session, day, "Wren").everybody_land == "A helicopter."

    def test_lifting_what_is_not_on_writes_nothing(self, session, day):
        before = logbook.newest_first(session, day.id, 1)[0].id
        flight_line.lift(session, day, "director", NOW)
        assert logbook.newest_first(session, day.id, 1)[0].id == before

    def test_the_board_has_the_reason(self, session, day):
        everybody_land(session, day)
        assert board_of_day(session, DayNow(session, day)).line.everybody_land == "A helicopter."


class TestWalkers:
    def test_power_up_becomes_ready_and_goes_on_once_they_are_gone(self, session, day):
        call_heat(session, day)
        flight_line.set_walkers(session, day, True, "director", NOW)
        assert words(session, day)["Wren"] == "READY"
        assert page(session, day, "Wren").reason.startswith("Walkers are on the field. Do not power up.")
        flight_line.set_walkers(session, day, False, "director", NOW)
        assert words(session, day)["Wren"] == "POWER UP"

    def test_who_is_on_asks_the_director_and_nobody_gets_the_next_turn(self, session, day):
        call_heat(session, day)
        flight_line.set_walkers(session, day, True, "director", NOW)
        press(session, day, "Wren", "picture is clear")
        assert words(session, day)["Wren"] == "ASK THE DIRECTOR"
        assert stages(session, day)["Otter"] == "waiting"
        flight_line.set_walkers(session, day, False, "director", NOW)
        call_settling.settle(session, day, NOW)
        assert stages(session, day)["Otter"] == "power up"

    def test_nobody_is_released(self, session, day):
        call_heat(session, day)
        for callsign in ("Wren", "Otter"):
            press(session, day, callsign, "picture is clear")
        flight_line.set_walkers(session, day, True, "director", NOW)
        with pytest.raises(RefusedError, match="Walkers are on the field"):
            step(session, day, "release")

    def test_saying_it_twice_writes_one_row(self, session, day):
        flight_line.set_walkers(session, day, True, "director", NOW)
        before = logbook.newest_first(session, day.id, 1)[0]
        flight_line.set_walkers(session, day, True, "director", NOW)
        assert logbook.newest_first(session, day.id, 1)[0].id == before.id
        assert before.text == "Walkers on the field: nobody powers up."


class TestHours:
    def test_they_are_kept_as_hours_of_the_day(self, session, day):
        typed = {"starts_at": "9:30", "ends_by": "17:00", "beside": "yes"}
        line = flight_line.save_hours(session, day, typed, "director", NOW)
        assert (line.starts_at, line.ends_by, line.may_clear_beside) == ("09:30", "17:00", True)

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"starts_at": "25:00"}, "starts_at"),
            ({"ends_by": "five"}, "ends_by"),
            ({"starts_at": "12:00", "ends_by": "11:59"}, "ends_by"),
            ({"starts_at": "12:00", "ends_by": "12:00"}, "ends_by"),
        ],
    )
    def test_what_is_no_hour_is_refused_under_its_field(self, session, day, typed, field):
        with pytest.raises(InputError) as refused:
            flight_line.save_hours(session, day, typed, "director", NOW)
        assert list(refused.value.faults) == [field]

    def test_they_may_be_empty(self, session, day):
        line = flight_line.save_hours(session, day, {}, "director", NOW)
        assert (line.starts_at, line.ends_by, line.may_clear_beside) == ("", "", False)


def test_what_changes_nothing_at_the_line_makes_no_row(session, day):
    flight_line.lift(session, day, "director", NOW)
    flight_line.set_walkers(session, day, False, "director", NOW)
    flight_line.save_hours(session, day, {}, "director", NOW)
    assert calls.line_of(session, day.id) is None
