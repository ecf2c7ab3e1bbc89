"""Leave to power up at open flying beside who is on outside a call: cleared, on, or unasked."""

import pytest

from server.services import clearances, day_settling, flight_line, open_flying, pit_air, turns, unasked
from server.services.errors import InputError, RefusedError
from server.services.pilots import pilot_of
from server.services.turn_views import OpenFlyingNow
from server.storage import clearances as stored
from server.storage import logbook
from server.storage.tables import TURN_STAGES
from tests.factories import NOW, make_day, make_picture_check, make_pilot
from tests.services.called_days import page, words
from tests.services.changed_days import id_of
from tests.services.planned_days import SETTINGS

HELD = "Rook is on, unasked: Wren powers up once that is off."


@pytest.fixture
def day(session):
    """Open, and pilots may power up beside others only by the director's word; Rook is in the pits."""
    day = make_day(session, aircraft=3, **SETTINGS)
    make_pilot(session, day, "Rook", provisional_mhz=5880)
    open_flying.open_up(session, day, False, "director", NOW)
    return day


def rook(session, day):
    return pilot_of(session, day, id_of(session, day, "Rook"))


def is_on(session, day, place="pits"):
    unasked.note(session, day, rook(session, day), place, "director", NOW)


def is_off(session, day):
    """As the pilot presses it on the own phone."""
    (one,) = stored.live(session, day.id)
    clearances.act_of_pilot(session, day, rook(session, day), one.id, one.seen, "off", NOW)
    day_settling.settle(session, day, NOW)


def set_to_go(session, day, callsign="Wren"):
    """Asked to fly, has a place, and its channel is set."""
    turn = turns.ask(session, day, make_pilot(session, day, callsign), "pilot", NOW)
    turns.act(session, day, turn, turn.seen, "set", "pilot", NOW)
    return turn


class TestUnasked:
    def test_the_turn_is_held_and_says_why(self, session, day):
        is_on(session, day)
        turn = set_to_go(session, day)
        assert (turn.stage, turn.why) == ("ready", HELD)
        assert words(session, day)["Wren"] == "READY"
        assert page(session, day, "Wren").reason == HELD

    @pytest.mark.parametrize("beside", [True, False])
    def test_it_is_held_whatever_the_rule_for_the_pits(self, session, day, beside):
        open_flying.open_up(session, day, beside, "director", NOW)
        is_on(session, day)
        assert set_to_go(session, day).stage == "ready"

    def test_it_goes_on_in_the_transaction_that_notes_it_as_off(self, session, day):
        is_on(session, day)
        turn = set_to_go(session, day)
        is_off(session, day)
        assert (turn.stage, turn.why) == ("power up", "")

    def test_the_directors_button_waits_too(self, session, day):
        is_on(session, day)
        turn = set_to_go(session, day)
        with pytest.raises(RefusedError, match="Rook is on, unasked"):
            turns.act(session, day, turn, turn.seen, "up", "director", NOW)

    def test_who_was_told_to_power_up_before_is_left_where_it_is(self, session, day):
        turn = set_to_go(session, day)
        is_on(session, day)
        day_settling.settle(session, day, NOW)
        assert turn.stage == "power up"


class TestOverriddenInWords:
    def override(self, session, day, turn, words="Behind the hill, no phone."):
        turns.override(session, day, turn, turn.seen, words, "director", NOW)

    @pytest.mark.parametrize("stage", TURN_STAGES)
    def test_only_a_turn_that_is_ready_is_overridden(self, session, day, stage):
        is_on(session, day)
        turn = set_to_go(session, day)
        turn.stage = stage
        if stage == "ready":
            self.override(session, day, turn)
            assert (turn.stage, turn.why) == ("power up", "")
            return
        with pytest.raises(RefusedError, match="Wren's turn is not at that point"):
            self.override(session, day, turn)

    def test_the_logbook_has_who_and_why_and_the_notice_stays(self, session, day):
        is_on(session, day)
        self.override(session, day, set_to_go(session, day))
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert (entry.action, entry.who, entry.at) == ("turn overridden", "director", NOW)
        assert entry.text == (
            "Wren may power up by the director's word, though Rook is on, unasked: Behind the hill, no phone."
        )
        assert OpenFlyingNow(session, day).desk().unasked == "Rook is"
        assert words(session, day) == {"Rook": "DISARM THEN POWER OFF", "Wren": "POWER UP"}

    def test_each_held_turn_is_overridden_on_its_own(self, session, day):
        is_on(session, day)
        first, second = set_to_go(session, day), set_to_go(session, day, "Otter")
        self.override(session, day, first)
        assert (first.stage, second.stage) == ("power up", "ready")

    @pytest.mark.parametrize(
        ("typed", "told"), [(" ", "Write why it may power up"), ("x" * 201, "these are 201. Say it shorter")]
    )
    def test_without_words_or_with_too_many_it_stays_held(self, session, day, typed, told):
        is_on(session, day)
        turn = set_to_go(session, day)
        with pytest.raises(InputError, match=told):
            self.override(session, day, turn, typed)
        assert turn.stage == "ready"

    def test_with_nobody_on_unasked_the_button_without_words_does(self, session, day):
        clearances.ask(session, day, rook(session, day), "bench check", "pilot", NOW)
        turn = set_to_go(session, day)
        with pytest.raises(RefusedError, match="Nobody on unasked holds the turn up"):
            self.override(session, day, turn)

    def test_no_word_lets_somebody_power_up_who_is_on_unasked_itself(self, session, day):
        turn = turns.ask(session, day, rook(session, day), "pilot", NOW)
        turn.stage = "waiting"
        is_on(session, day)
        turn.stage, turn.confirmed_at = "ready", NOW
        with pytest.raises(RefusedError, match="the own transmitter goes off before its turn"):
            self.override(session, day, turn)

    def test_neither_everybody_land_nor_walkers_are_overridden(self, session, day):
        is_on(session, day)
        turn = set_to_go(session, day)
        flight_line.set_walkers(session, day, True, "director", NOW)
        with pytest.raises(RefusedError, match="Walkers are on the field"):
            self.override(session, day, turn)
        flight_line.everybody_land(session, day, "", "director", NOW)
        with pytest.raises(RefusedError, match="EVERYBODY LAND is on"):
            self.override(session, day, turn)

    def test_a_turn_whose_channel_is_not_set_is_not_overridden(self, session, day):
        is_on(session, day)
        turn = turns.ask(session, day, make_pilot(session, day, "Wren"), "pilot", NOW)
        with pytest.raises(RefusedError, match="Ask first what Wren's transmitter is set to"):
            self.override(session, day, turn)


class TestCleared:
    def ask(self, session, day):
        return clearances.ask(session, day, rook(session, day), "bench check", "pilot", NOW)

    @pytest.mark.parametrize("pressed_on", [True, False])
    def test_who_is_cleared_or_on_counts_as_on_the_air(self, session, day, pressed_on):
        one = self.ask(session, day)
        if pressed_on:
            clearances.is_on(session, day, one.id, one.seen, "pilot", NOW)
        turn = set_to_go(session, day)
        assert turn.stage == "ready"
        assert turn.why == "Others are on outside a call (Rook): the director says when to power up."
        is_off(session, day)
        assert turn.stage == "power up"

    def test_who_may_be_on_outside_a_call_has_a_place_once_it_is_off(self, session, day):
        """A place says READY, which is not to power."""
        self.ask(session, day)
        turn = turns.ask(session, day, rook(session, day), "pilot", NOW)
        assert (turn.stage, turn.why) == (
            "waiting",
            "Rook may be on outside a call: a place comes once it is off.",
        )
        assert words(session, day)["Rook"] == "POWER UP"
        assert page(session, day, "Rook").reason.startswith("Cleared to switch on: bench check.")
        assert OpenFlyingNow(session, day).desk().queue[0].word == "POWER UP"
        is_off(session, day)
        assert turn.stage == "ready"

    def test_who_may_be_on_outside_a_call_lets_others_pass(self, session, day):
        self.ask(session, day)
        own = turns.ask(session, day, rook(session, day), "pilot", NOW)
        assert turns.ask(session, day, make_pilot(session, day, "Wren"), "pilot", NOW).stage == "ready"
        assert (own.stage, own.passed_over) == ("waiting", 0)

    def test_nobody_who_may_be_on_outside_a_call_is_seated_by_word(self, session, day):
        self.ask(session, day)
        turn = turns.ask(session, day, rook(session, day), "pilot", NOW)
        with pytest.raises(RefusedError, match="Rook may be on outside a call"):
            turns.act(session, day, turn, turn.seen, "seat", "director", NOW)

    def test_a_place_given_back_is_not_had_again_by_who_may_be_on_since(self, session, day):
        turn = turns.ask(session, day, rook(session, day), "pilot", NOW)
        turns.act(session, day, turn, turn.seen, "off", "pilot", NOW)
        self.ask(session, day)
        with pytest.raises(RefusedError, match="Rook may be on outside a call"):
            turns.restore(session, day, turn, "director", NOW)

    def test_who_waits_for_clearance_and_gets_a_place_does_not_wait_any_more(self, session, day):
        flight_line.set_walkers(session, day, True, "director", NOW)
        one = self.ask(session, day)
        assert one.stage == "waiting"
        turns.ask(session, day, rook(session, day), "pilot", NOW)
        day_settling.settle(session, day, NOW)
        assert one.stage == "off"

    def test_who_is_up_and_on_outside_a_call_too_is_one_transmitter(self, session, day):
        """Two of one callsign would be no air that can be computed."""
        open_flying.open_up(session, day, True, "director", NOW)
        self.ask(session, day)
        (one,) = stored.live(session, day.id)
        one.pilot_id = set_to_go(session, day, "Otter").pilot_id
        assert set_to_go(session, day).stage == "power up"
        assert pit_air.air_of(session, day).ground == ()

    def test_by_computation_one_far_off_on_a_channel_that_is_known_is_no_matter(self, session, day):
        open_flying.open_up(session, day, True, "director", NOW)
        make_picture_check(session, rook(session, day), 5880)
        self.ask(session, day)
        assert stored.live(session, day.id)[0].mhz == 5880
        assert set_to_go(session, day).stage == "power up"

    def test_by_computation_one_on_no_channel_that_is_known_counts_on_the_worst(self, session, day):
        open_flying.open_up(session, day, True, "director", NOW)
        self.ask(session, day)
        turn = set_to_go(session, day)
        assert turn.stage == "ready"
        assert turn.why == (
            "Others are on outside a call (Rook) and could spoil this picture: the director says when."
        )
        field = turns.turn_lineup(session, day, [turn])
        (heard,) = pit_air.on_the_ground(session, day, [field.up_of(turn)], turn.pilot_id)
        assert abs(heard.up.mhz - turn.mhz) <= 20

    def test_those_who_fly_and_those_on_the_ground_are_both_named(self, session, day):
        first = set_to_go(session, day, "Otter")
        self.ask(session, day)
        (one,) = stored.live(session, day.id)
        clearances.override(session, day, one.id, one.seen, "Far behind the van.", "director", NOW)
        turn = set_to_go(session, day)
        assert first.stage == "power up"
        assert turn.why == (
            "Others are up (Otter) and on outside a call (Rook): the director says when to power up."
        )


def test_an_archived_day_gives_no_turn(session, day):
    is_on(session, day)
    turn = set_to_go(session, day)
    (one,) = stored.live(session, day.id)
    one.stage, day.archived_at = "off", NOW
    day_settling.settle(session, day, NOW)
    assert turn.stage == "ready"
    assert logbook.newest_first(session, day.id, 1)[0].action == "channel set"
