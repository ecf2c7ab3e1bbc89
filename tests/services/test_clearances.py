import itertools
import json
from pathlib import Path

import pytest

from server.services import call_settling, clearances, flight_line, open_flying, pilots, turns
from server.services.clearances import CLEARANCE_MOVES, after
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.transmitter_words import Facts, word_for
from server.storage import logbook, published_plans
from server.storage.tables import CLEARANCE_STAGES, WITHDRAWN
from tests.factories import NOW, make_aircraft, make_picture_check
from tests.services.called_days import call_heat, page, released, stages, step, words
from tests.services.changed_days import happen, id_of, published_day

DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"

MOVES = {
    ("waiting", "clear"): "cleared",
    ("waiting", "off"): "off",
    ("waiting", "on unasked"): "on unasked",
    ("cleared", "on"): "on",
    ("cleared", "off"): "off",
    ("on", "off"): "off",
    ("cleared", "call off"): "called off",
    ("on", "call off"): "called off",
    ("called off", "off"): "off",
    ("on unasked", "off"): "off",
    ("on unasked", "not on"): "off",
    ("on unasked", "still waits"): "waiting",
    ("off", "not off"): "on unasked",
}
CLEARANCE_EVENTS = ("clear", "on", "off", "call off", "on unasked", "not on", "still waits", "not off")


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def pilot_of(session, day, callsign):
    return pilots.pilot_of(session, day, id_of(session, day, callsign))


def ask(session, day, callsign, why="bench check", **how):
    return clearances.ask(session, day, pilot_of(session, day, callsign), why, "desk", NOW, **how)


def press_on(session, day, clearance):
    clearances.is_on(session, day, clearance.id, clearance.seen, "pilot", NOW)


def press_off(session, day, clearance):
    clearances.is_off(session, day, clearance.id, clearance.seen, "pilot", NOW)


def confirm(session, day, callsign, mhz):
    make_picture_check(session, pilot_of(session, day, callsign), mhz)


@pytest.mark.parametrize(("stage", "event"), list(itertools.product(CLEARANCE_STAGES, CLEARANCE_EVENTS)))
def test_a_clearance_goes_where_the_table_says_or_is_refused_with_a_sentence(stage, event):
    if (stage, event) in MOVES:
        assert after(stage, event, "Wren") == MOVES[stage, event]
        return
    with pytest.raises(RefusedError, match=r"^Wren [a-z].+: [a-z].+\.$"):
        after(stage, event, "Wren")
    assert set(CLEARANCE_MOVES) == set(CLEARANCE_STAGES)


@pytest.mark.parametrize("stage", CLEARANCE_STAGES)
def test_the_documents_table_is_the_programs(stage):
    moves = "; ".join(f"{event} → {after}" for event, after in CLEARANCE_MOVES[stage].items())
    row = f"| {stage} | {word_for(Facts(clearance=stage))} | {moves} |"
    assert row in DEVELOPERS.read_text(encoding="utf-8").splitlines()


class TestAsking:
    def test_with_nobody_up_it_is_clear_at_once(self, session, day):
        clearance = ask(session, day, "Rook")
        assert (clearance.stage, clearance.answered_at) == ("cleared", NOW)
        assert words(session, day)["Rook"] == "POWER UP"
        asked, cleared = reversed(logbook.newest_first(session, day.id, 2))
        assert (asked.who, asked.text) == ("desk", "Rook asks to switch on: bench check.")
        assert (cleared.who, cleared.text) == (
            "bandstand",
            "Rook may switch on for bench check: clear by computation.",
        )

    def test_while_a_heat_is_up_it_waits_and_is_told_until_when(self, session, day):
        released(session, day)  # 09:30 UTC, 10:30 in Dublin; five minutes of flying and one of landing
        clearance = ask(session, day, "Rook")
        assert clearance.stage == "waiting"
        assert clearance.words == "Heat 1 is up: wait until it is over, at about 10:36."
        assert words(session, day)["Rook"] == "READY"
        assert page(session, day, "Rook").reason == f"You asked to switch on: bench check. {clearance.words}"

    def test_before_the_release_the_wait_counts_from_the_call(self, session, day):
        call_heat(session, day)
        assert "at about 10:38" in ask(session, day, "Rook").words

    def test_it_is_cleared_by_itself_once_the_heat_is_over(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Rook")
        for event in ("land", "all landed"):
            step(session, day, event)
            assert clearance.stage == "waiting"
        step(session, day, "end")
        assert clearance.stage == "cleared"

    def test_a_second_press_asks_nothing_new(self, session, day):
        assert ask(session, day, "Rook").id == ask(session, day, "Rook", why="retune").id

    def test_retuning_counts_as_on_any_channel_even_where_it_was_confirmed(self, session, day):
        confirm(session, day, "Rook", 5658)
        assert ask(session, day, "Rook", why="retune").mhz is None
        confirm(session, day, "Quill", 5695)
        assert ask(session, day, "Quill").mhz == 5695

    def test_its_power_is_what_the_set_may_come_up_with(self, session, day):
        assert ask(session, day, "Rook").power_mw == 200

    def test_who_is_called_has_the_turn_and_asks_for_nothing(self, session, day):
        call_heat(session, day)
        with pytest.raises(RefusedError, match="Wren is in the heat that is called"):
            ask(session, day, "Wren")

    def test_who_has_a_place_at_open_flying_goes_by_that(self, session, day):
        open_flying.open_up(session, day, False, "director", NOW)
        turns.ask(session, day, pilot_of(session, day, "Wren"), "pilot", NOW)
        with pytest.raises(RefusedError, match="has a place at open flying"):
            ask(session, day, "Wren")

    def test_who_left_the_day_asks_in_vain(self, session, day):
        pilots.set_state(session, day, pilot_of(session, day, "Rook"), WITHDRAWN, "desk", NOW)
        with pytest.raises(RefusedError, match="Rook is withdrawn"):
            ask(session, day, "Rook")

    def test_a_reason_or_place_that_is_none_is_refused(self, session, day):
        with pytest.raises(InputError):
            ask(session, day, "Rook", why="for fun")
        with pytest.raises(InputError):
            ask(session, day, "Rook", place="the moon")

    def test_everybody_land_and_walkers_hold_it_up(self, session, day):
        flight_line.set_walkers(session, day, True, "director", NOW)
        clearance = ask(session, day, "Rook")
        assert clearance.words.startswith("Walkers are on the field")
        flight_line.everybody_land(session, day, "", "director", NOW)
        flight_line.set_walkers(session, day, False, "director", NOW)
        call_settling.settle(session, day, NOW)
        assert clearance.words.startswith("EVERYBODY LAND is on")

    def test_somebody_up_at_open_flying_holds_it_up(self, session, day):
        open_flying.open_up(session, day, False, "director", NOW)
        turn = turns.ask(session, day, pilot_of(session, day, "Wren"), "pilot", NOW)
        for act in ("set", "clear"):
            turns.act(session, day, turn, turn.seen, act, "director", NOW)
        assert "Somebody is up at open flying" in ask(session, day, "Rook").words

    def test_two_in_the_pits_on_one_channel_go_one_after_the_other(self, session, day):
        confirm(session, day, "Rook", 5658)
        confirm(session, day, "Wren", 5658)
        first, second = ask(session, day, "Wren"), ask(session, day, "Rook")
        assert (first.stage, second.stage) == ("cleared", "waiting")
        assert second.words == "Wren is on at 5658 MHz, too close to 5658: wait until it is off."
        press_off(session, day, first)
        assert second.stage == "cleared"


class TestByComputation:
    @pytest.fixture
    def beside(self, session, day):
        """A day that allows it, with its pits far away and Wren and Otter in the air."""
        day.settings_json = json.dumps(
            json.loads(day.settings_json) | {"site": {"near_m": 8, "far_m": 40, "pit_m": 400}}
        )
        flight_line.save_hours(session, day, {"beside": "yes"}, "director", NOW)
        released(session, day)
        return day

    def test_a_confirmed_channel_far_from_those_in_the_air_is_clear(self, session, beside):
        edit_channel(session, beside, "Rook", 5880)
        confirm(session, beside, "Rook", 5880)
        assert ask(session, beside, "Rook").stage == "cleared"

    def test_a_channel_in_the_air_is_not(self, session, beside):
        confirm(session, beside, "Rook", 5658)
        clearance = ask(session, beside, "Rook")
        assert clearance.stage == "waiting"
        assert clearance.words.startswith("On 5658 MHz it could spoil the picture of Wren")
        assert "at about 10:36" in clearance.words

    def test_one_that_is_not_confirmed_counts_on_the_worst_it_can_tune(self, session, beside):
        edit_channel(session, beside, "Rook", 5880)
        clearance = ask(session, beside, "Rook")
        assert clearance.stage == "waiting"
        assert clearance.words.startswith("Its channel is not confirmed, and on ")

    def test_by_the_pilot_line_it_is_heard_as_near(self, session, beside):
        edit_channel(session, beside, "Rook", 5732)
        confirm(session, beside, "Rook", 5732)
        assert ask(session, beside, "Rook", place="pilot line").stage == "waiting"

    def test_where_the_day_does_not_allow_it_everybody_waits(self, session, beside):
        flight_line.save_hours(session, beside, {}, "director", NOW)
        edit_channel(session, beside, "Rook", 5880)
        confirm(session, beside, "Rook", 5880)
        assert ask(session, beside, "Rook").words.startswith("Heat 1 is up: wait")


def edit_channel(session, day, callsign, mhz):
    """Give a pilot without a plan ahead another channel: the plan's heats but the called one are gone."""
    plan = published_plans.latest(session, day.id)
    snapshot = json.loads(plan.snapshot_json)
    pilot_id = id_of(session, day, callsign)
    for heat in snapshot["heats"]:
        for slot in heat["slots"]:
            if slot["pilot_id"] == pilot_id:
                slot["mhz"] = mhz
    published_plans.publish(session, day.id, json.dumps(snapshot), "1", NOW, "director")


class TestAnswering:
    def test_the_director_overrides_in_words_that_go_to_the_logbook(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Rook")
        clearances.override(session, day, clearance.id, "waiting", " Behind the  van. ", "director", NOW)
        assert (clearance.stage, clearance.words) == ("cleared", "Behind the van.")
        row = logbook.newest_first(session, day.id, 1)[0]
        assert (row.who, row.action) == ("director", "clearance overridden")
        assert row.text == "Rook may switch on for bench check, by the director's word: Behind the van."

    def test_an_override_without_words_is_refused(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Rook")
        with pytest.raises(InputError, match="Write why"):
            clearances.override(session, day, clearance.id, "waiting", "  ", "director", NOW)
        assert clearance.stage == "waiting"

    def test_who_is_on_is_known_to_be_so_and_asks_the_director_on_a_stale_page(self, session, day):
        clearance = ask(session, day, "Rook")
        assert page(session, day, "Rook").word_in_doubt == "STAY OFF"
        press_on(session, day, clearance)
        shown = page(session, day, "Rook")
        assert (shown.word, shown.word_in_doubt, shown.known_on) == ("POWER UP", "ASK THE DIRECTOR", True)
        press_off(session, day, clearance)
        assert (clearance.stage, clearance.on_at, clearance.off_at) == ("off", NOW, NOW)
        assert page(session, day, "Rook").known_on is False

    def test_the_second_of_two_presses_is_told_so(self, session, day):
        clearance = ask(session, day, "Rook")
        press_on(session, day, clearance)
        with pytest.raises(OvertakenError, match="Rook is on now"):
            clearances.is_on(session, day, clearance.id, "cleared", "director", NOW)

    def test_a_clearance_of_another_day_is_not_found(self, session, day):
        other = published_day(session)
        clearance = ask(session, other, "Rook")
        with pytest.raises(NotFoundError):
            press_on(session, day, clearance)

    def test_who_leaves_the_day_does_not_wait_any_more_but_who_is_on_powers_off(self, session, day):
        on = ask(session, day, "Quill")
        press_on(session, day, on)
        pilots.set_state(session, day, pilot_of(session, day, "Quill"), WITHDRAWN, "desk", NOW)
        call_settling.settle(session, day, NOW)
        assert on.stage == "on"
        assert page(session, day, "Quill").word == "DISARM THEN POWER OFF"

    def test_who_waits_and_leaves_is_off_the_list(self, session, day):
        released(session, day)
        clearance = ask(session, day, "Quill")
        pilots.set_state(session, day, pilot_of(session, day, "Quill"), WITHDRAWN, "desk", NOW)
        call_settling.settle(session, day, NOW)
        assert clearance.stage == "off"


class TestAgainstACall:
    def test_somebody_on_in_the_pits_stands_against_a_call_unless_overridden(self, session, day):
        clearance = ask(session, day, "Rook")
        with pytest.raises(RefusedError, match="Rook may be on outside a call, bench check"):
            call_heat(session, day)
        press_on(session, day, clearance)
        with pytest.raises(RefusedError, match="Rook is on outside a call"):
            call_heat(session, day)
        call_heat(session, day, override="It stands behind the hall.")
        assert stages(session, day)["Wren"] == "power up"

    def test_once_it_is_off_the_heat_is_called(self, session, day):
        press_off(session, day, ask(session, day, "Rook"))
        assert call_heat(session, day).stage == "powering up"

    def test_who_waits_and_is_called_goes_by_the_call(self, session, day):
        flight_line.set_walkers(session, day, True, "director", NOW)
        clearance = ask(session, day, "Wren")
        call_heat(session, day)
        assert clearance.stage == "off"

    def test_a_pilot_of_the_call_who_is_on_for_a_check_is_off_first(self, session, day):
        press_on(session, day, ask(session, day, "Wren"))
        with pytest.raises(RefusedError, match="Wren is on outside a call"):
            call_heat(session, day)


def test_who_lost_one_aircraft_may_ask_to_switch_a_spare_on_beside_those_who_fly(session, day):
    flight_line.save_hours(session, day, {"beside": "yes"}, "director", NOW)
    rook = pilots.pilot_of(session, day, id_of(session, day, "Rook"))
    happen(session, day, "down", pilot=rook.id)
    rook.flying_aircraft_id = make_aircraft(session, rook, "R8").id
    call_heat(session, day, override="It lies far behind the hill.")
    assert clearances.ask(session, day, rook, "bench check", "desk", NOW).stage == "waiting"
