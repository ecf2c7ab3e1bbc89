"""Somebody is on, unasked: the word, what it counts as, whom it holds up, and what takes it back."""

import pytest

from server.services import call_slots, clearances, pit_air
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.line_desk import line_desk
from server.services.pilots import pilot_of
from server.services.trouble_air import air_now
from server.storage import clearances as stored
from server.storage import logbook
from tests.factories import NOW, make_picture_check
from tests.services.called_days import call_heat, page, place, press, released, stages, step, words
from tests.services.changed_days import id_of, published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def pilot(session, day, callsign):
    return pilot_of(session, day, id_of(session, day, callsign))


def found_on(session, day, callsign, place="pits"):
    call_slots.found_on(session, day, pilot(session, day, callsign), place, "director", NOW)


def live(session, day):
    return stored.live(session, day.id)


def undo(session, day):
    _, seen = call_slots.undo_seen(session, day)
    call_slots.undo(session, day, seen, "director", NOW)


def off(session, day):
    (one,) = live(session, day)
    clearances.is_off(session, day, one.id, one.seen, "pilot", NOW)


class TestFoundOn:
    def test_the_pilot_reads_to_power_off_and_the_logbook_has_it(self, session, day):
        released(session, day, 1)
        found_on(session, day, "Rook", "pilot line")
        assert words(session, day)["Rook"] == "DISARM THEN POWER OFF"
        assert page(session, day, "Rook").word_in_doubt == "ASK THE DIRECTOR"
        (one,) = live(session, day)
        assert (one.stage, one.place, one.on_at) == ("on unasked", "pilot line", NOW)
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert (entry.action, entry.who, entry.text) == ("on unasked", "director", "Rook is on, unasked.")

    def test_it_counts_on_its_channel_where_that_is_confirmed(self, session, day):
        make_picture_check(session, pilot(session, day, "Rook"), 5658)
        found_on(session, day, "Rook")
        assert live(session, day)[0].mhz == 5658
        (heard,) = pit_air.air_of(session, day).ground
        assert heard.up.mhz == 5658

    def test_it_counts_on_the_worst_that_it_tunes_where_nobody_knows(self, session, day):
        released(session, day, 1)
        found_on(session, day, "Rook")
        assert live(session, day)[0].mhz is None
        (heard,) = pit_air.air_of(session, day).ground
        assert min(abs(heard.up.mhz - mhz) for mhz in (5658, 5695)) <= 10

    def test_the_trouble_desk_knows_that_it_is_on(self, session, day):
        released(session, day, 1)
        found_on(session, day, "Rook")
        assert [one.pilot.callsign for one in air_now(session, day).air.ground if one.is_on] == ["Rook"]

    def test_who_waits_for_clearance_is_on_all_the_same(self, session, day):
        released(session, day, 1)
        clearances.ask(session, day, pilot(session, day, "Rook"), "bench check", "pilot", NOW)
        found_on(session, day, "Rook")
        assert [(one.stage, one.why) for one in live(session, day)] == [("on unasked", "bench check")]

    def test_who_is_cleared_or_flies_is_not_unasked(self, session, day):
        clearances.ask(session, day, pilot(session, day, "Rook"), "bench check", "pilot", NOW)
        with pytest.raises(RefusedError, match="Rook is cleared and may be on"):
            found_on(session, day, "Rook")
        off(session, day)
        released(session, day, 1)
        with pytest.raises(RefusedError, match="Wren is flying"):
            found_on(session, day, "Wren")

    def test_another_place_is_refused(self, session, day):
        with pytest.raises(InputError, match="in the pits, or by the pilot line"):
            found_on(session, day, "Rook", "car park")


class TestOthers:
    def test_the_turn_goes_to_nobody_until_it_is_off(self, session, day):
        call_heat(session, day, 1)
        first, second = stages(session, day)
        found_on(session, day, "Rook")
        press(session, day, first, "picture is clear")
        assert stages(session, day)[second] == "waiting"
        with pytest.raises(
            RefusedError, match="Rook is on, unasked: the next one powers up once that is off"
        ):
            press(session, day, second, "your turn")
        assert line_desk(session, day).step.words == "Rook is off now"
        off(session, day)
        press(session, day, second, "your turn")
        assert stages(session, day)[second] == "power up"

    def test_a_heat_is_not_called_beside_it(self, session, day):
        found_on(session, day, "Rook")
        assert "Rook is on, unasked: wait until it is off." in line_desk(session, day).next.against

    def test_nobody_else_in_the_pits_is_cleared_beside_it(self, session, day):
        make_picture_check(session, pilot(session, day, "Rook"), 5658)
        make_picture_check(session, pilot(session, day, "Wren"), 5658)
        found_on(session, day, "Rook")
        asked = clearances.ask(session, day, pilot(session, day, "Wren"), "bench check", "pilot", NOW)
        assert asked.stage == "waiting"
        assert asked.words.startswith("Rook is on at 5658 MHz, too close to 5658")


class TestOverriddenInWords:
    @pytest.fixture
    def held(self, session, day):
        """Heat 1 powers up, Wren's picture is clear, and Rook keeps Otter from its turn."""
        call_heat(session, day, 1)
        found_on(session, day, "Rook")
        press(session, day, "Wren", "picture is clear")
        return day

    def override(self, session, day, words):
        slot = place(session, day, "Otter")
        call_slots.act(session, day, slot.id, slot.seen, "turn overridden", "director", NOW, words=words)

    def test_the_turn_is_given_and_the_logbook_has_who_and_why(self, session, held):
        assert line_desk(session, held).call.held.callsign == "Otter"
        self.override(session, held, " Behind  the hill, no phone. ")
        assert words(session, held)["Otter"] == "POWER UP"
        entry = logbook.newest_first(session, held.id, 1)[0]
        assert (entry.action, entry.who, entry.at) == ("turn overridden", "director", NOW)
        assert entry.text == (
            "Otter may power up by the director's word, though Rook is on, unasked: Behind the hill, no phone."
        )

    def test_who_is_on_stays_on_the_page_and_is_told_to_power_off(self, session, held):
        self.override(session, held, "Behind the hill.")
        desk = line_desk(session, held)
        assert [(one.callsign, one.stage) for one in desk.clearances] == [("Rook", "on unasked")]
        assert desk.call.held is None
        assert words(session, held)["Rook"] == "DISARM THEN POWER OFF"

    def test_the_heat_is_released_beside_it(self, session, held):
        self.override(session, held, "Behind the hill.")
        press(session, held, "Otter", "picture is clear")
        assert step(session, held, "release").stage == "flying"

    def test_without_words_or_with_too_many_it_stays_held(self, session, held):
        with pytest.raises(InputError, match="Write why it may power up now"):
            self.override(session, held, "  ")
        with pytest.raises(InputError, match="takes 200 letters here, and these are 201"):
            self.override(session, held, "x" * 201)
        assert stages(session, held)["Otter"] == "waiting"

    def test_two_hundred_letters_are_kept_whole(self, session, held):
        self.override(session, held, "x" * 200)
        assert logbook.newest_first(session, held.id, 1)[0].text.endswith(": " + "x" * 200)

    def test_once_it_is_off_nothing_is_left_to_override(self, session, held):
        (one,) = live(session, held)
        one.stage = "off"
        with pytest.raises(RefusedError, match="Nobody on unasked holds the turn up"):
            self.override(session, held, "Behind the hill.")

    def test_a_slip_is_taken_back_to_powering_off(self, session, held):
        self.override(session, held, "Behind the hill.")
        undo(session, held)
        assert words(session, held)["Otter"] == "DISARM THEN POWER OFF"

    def test_a_pilot_does_not_override_from_the_own_phone(self, session, held):
        slot = place(session, held, "Otter")
        otter = pilot(session, held, "Otter")
        with pytest.raises(NotFoundError):
            call_slots.act_of_pilot(session, held, otter, slot.id, slot.seen, "turn overridden", NOW)


class TestUndo:
    def test_a_slip_is_taken_back(self, session, day):
        found_on(session, day, "Rook")
        undo(session, day)
        assert live(session, day) == []
        assert words(session, day)["Rook"] == "STAY OFF"
        assert logbook.newest_first(session, day.id, 1)[0].text == "Rook was not on after all."

    def test_who_waited_waits_again(self, session, day):
        released(session, day, 1)
        clearances.ask(session, day, pilot(session, day, "Rook"), "bench check", "pilot", NOW)
        found_on(session, day, "Rook")
        undo(session, day)
        assert [one.stage for one in live(session, day)] == ["waiting"]

    def test_off_is_taken_back_to_on_unless_the_pilot_asked_since(self, session, day):
        found_on(session, day, "Rook")
        off(session, day)
        undo(session, day)
        assert [one.stage for one in live(session, day)] == ["on unasked"]
        off(session, day)
        clearances.ask(session, day, pilot(session, day, "Rook"), "bench check", "pilot", NOW)
        with pytest.raises(OvertakenError, match="Rook asked to switch on since"):
            undo(session, day)


class TestInCall:
    def test_who_waits_for_its_turn_and_is_on_powers_off(self, session, day):
        call_heat(session, day, 1)
        _, second = stages(session, day)
        found_on(session, day, second)
        assert words(session, day)[second] == "DISARM THEN POWER OFF"
        assert live(session, day) == []
        press(session, day, second, "off")
        found_on(session, day, second)
        assert stages(session, day)[second] == "landed"
