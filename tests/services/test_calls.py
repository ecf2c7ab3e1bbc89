import json

import pytest

from server.services import bench_checks, call_slots, calls, days, edits, flown_heats, open_flying, pilots
from server.services.errors import InputError, OvertakenError, RefusedError
from server.storage import calls as stored
from server.storage import logbook
from server.storage.tables import NO_SHOW, WITHDRAWN
from tests.factories import NOW
from tests.services.called_days import call_heat, flown, page, place, press, released, stages, step, words
from tests.services.changed_days import happen, id_of, publish, published_day
from tests.services.planned_days import day_with_pilots, edit


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 in heat 1, Rook 5658 and Quill 5695 in heat 2."""
    return published_day(session)


def set_state(session, day, callsign, state):
    pilot = pilots.pilot_of(session, day, id_of(session, day, callsign))
    pilots.set_state(session, day, pilot, state, "desk", NOW)


def last_row(session, day):
    return logbook.newest_first(session, day.id, 1)[0]


class TestCalling:
    def test_one_may_power_up_the_others_of_the_heat_and_of_the_next_are_ready(self, session, day):
        call_heat(session, day, 1)
        assert words(session, day) == {
            "Wren": "POWER UP",
            "Otter": "READY",
            "Rook": "READY",
            "Quill": "READY",
        }

    def test_the_weakest_margin_is_first(self, session):
        day = published_day(session, "Wren", "Otter", "Rook", aircraft=3)
        call_heat(session, day, 1)
        slots = stored.slots_of(session, stored.live(session, day.id).id)
        margins = [slot.margin_db for slot in slots]
        assert margins == sorted(margins)
        assert margins[0] < margins[-1]
        assert slots[0].stage == "power up"

    def test_the_turn_goes_on_with_each_clear_picture(self, session, day):
        call_heat(session, day, 1)
        press(session, day, "Wren", "picture is clear")
        assert stages(session, day) == {"Wren": "picture clear", "Otter": "power up"}
        assert page(session, day, "Wren").reason.startswith("Your picture is clear.")

    def test_the_logbook_has_the_line_to_read_out_and_the_turn(self, session, day):
        call_heat(session, day, 1)
        turn, called = logbook.newest_first(session, day.id, 2)
        assert called.text == (
            "Heat 1 is called: Wren R1 5658, Otter R2 5695; power up one at a time, Wren first."
        )
        assert (called.who, called.action, called.at) == ("director", "heat called", NOW)
        assert (turn.who, turn.action) == ("bandstand", "your turn")
        assert json.loads(turn.data_json)["stage"] == "power up"

    def test_a_call_keeps_what_it_was_called_with_whatever_is_published(self, session, day):
        call_heat(session, day, 1)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: _tune(content, basis, wren, 5880))
        publish(session, day)
        slot = page(session, day, "Wren")
        assert (slot.tuned.mhz, slot.call.mhz, slot.plan_number) == (5658, 5658, 2)

    def test_who_is_not_here_is_left_out(self, session, day):
        set_state(session, day, "Otter", NO_SHOW)
        call_heat(session, day, 1)
        assert stages(session, day) == {"Wren": "power up", "Otter": "left out"}

    def test_a_part_of_a_heat_is_called_and_the_rest_is_next(self, session, day):
        flown_part = call_heat(session, day, 1, only={id_of(session, day, "Otter")})
        assert stages(session, day) == {"Otter": "power up"}
        assert words(session, day)["Wren"] == "READY"
        assert words(session, day)["Rook"] == "STAY OFF"
        press(session, day, "Otter", "picture is clear")
        for event in ("release", "land", "all landed", "end"):
            step(session, day, event)
        assert (flown_part.stage, day.flown_heats) == ("over", 0)
        call_heat(session, day, 1)
        assert list(stages(session, day)) == ["Wren"]

    def test_two_heats_are_joined_where_the_day_allows_so_many(self, session):
        day = published_day(session, "Wren", "Otter", "Rook", "Quill", aircraft=2)
        with pytest.raises(RefusedError, match="4 would be up, and the day allows 2"):
            call_heat(session, day, 1, 2)
        day.aircraft = 4
        with pytest.raises(RefusedError, match="do not fly"):
            call_heat(session, day, 1, 2)
        call = call_heat(session, day, 1, 2, override="Far apart on the field.")
        assert (call.heats, call.reason, len(stages(session, day))) == ([1, 2], "Far apart on the field.", 4)
        assert "Overridden: Far apart on the field." in logbook.newest_first(session, day.id, 2)[1].text


def _tune(content, basis, pilot_id, mhz):
    return edits.tune(content, basis, pilot_id, mhz)


class TestRefused:
    def test_a_second_press_on_the_same_page_is_told_what_the_first_did(self, session, day):
        seen = calls.seen_of(session, day)
        calls.call(session, day, [1], seen, "director", NOW)
        with pytest.raises(OvertakenError, match="Somebody was faster: Heat 1 is powering up now"):
            calls.call(session, day, [1], seen, "director", NOW)

    def test_a_step_seen_at_another_stage_is_overtaken(self, session, day):
        call = released(session, day, 1)
        seen = call.seen
        calls.act(session, day, "land", seen, "director", NOW)
        with pytest.raises(OvertakenError, match="Heat 1 is landing now"):
            calls.act(session, day, "land", seen, "director", NOW)

    def test_another_heat_while_one_is_up(self, session, day):
        call_heat(session, day, 1)
        with pytest.raises(RefusedError, match="Heat 1 is up: end it"):
            call_heat(session, day, 2)

    @pytest.mark.parametrize("heats", [(0,), (3,), (1, 9)])
    def test_a_heat_that_is_not_there(self, session, day, heats):
        with pytest.raises(InputError, match="Plan 1 has heats 1 to 2"):
            call_heat(session, day, *heats)

    def test_before_a_plan(self, session):
        with pytest.raises(RefusedError, match="No plan is published"):
            call_heat(session, day_with_pilots(session))

    def test_on_an_archived_day(self, session, day):
        day.archived_at = NOW
        with pytest.raises(RefusedError, match="archived"):
            call_heat(session, day)

    def test_a_heat_of_which_nobody_is_here(self, session, day):
        for callsign in ("Wren", "Otter"):
            set_state(session, day, callsign, WITHDRAWN)
        with pytest.raises(RefusedError, match="Nobody of heat 1 is here"):
            call_heat(session, day)

    def test_while_open_flying_is_on_and_the_other_way_round(self, session, day):
        open_flying.open_up(session, day, False, "director", NOW)
        with pytest.raises(RefusedError, match="Open flying is on: close it"):
            call_heat(session, day)
        open_flying.close(session, day, "director", NOW)
        call_heat(session, day)
        with pytest.raises(RefusedError, match="A heat is called"):
            open_flying.open_up(session, day, False, "director", NOW)

    def test_a_pilot_whose_picture_a_lost_transmitter_spoils_unless_overridden_in_words(self, session, day):
        happen(session, day, "down", pilot=id_of(session, day, "Quill"))
        with pytest.raises(RefusedError, match=r"Otter on R2 5695 would have a picture of 1\.0, do not fly"):
            call_heat(session, day)
        call_heat(session, day, override="It lies behind the hill.")
        assert set(stages(session, day)) == {"Wren", "Otter"}

    def test_a_pilot_short_of_the_bench_check_where_the_day_needs_it(self, session, day):
        bench_checks.demand(session, day, True, "director", NOW)
        with pytest.raises(RefusedError, match="Wren's bench check is short of failsafe, arming switch"):
            call_heat(session, day)
        assert call_heat(session, day, override="All were seen at the last heat.").stage == "powering up"

    def test_a_pilot_whose_gear_lost_the_channel(self, session, day):
        day.settings_json = _with_ban(day.settings_json, 5695)
        with pytest.raises(RefusedError, match="has no R2 5695 any more"):
            call_heat(session, day)

    def test_a_release_before_every_picture_is_clear(self, session, day):
        call_heat(session, day)
        press(session, day, "Wren", "picture is clear")
        with pytest.raises(RefusedError, match="Otter: no clear picture yet"):
            step(session, day, "release")

    def test_a_release_of_nobody(self, session, day):
        call_heat(session, day, only={id_of(session, day, "Wren")})
        press(session, day, "Wren", "stand down")
        with pytest.raises(RefusedError, match="Nobody has a clear picture"):
            step(session, day, "release")

    def test_an_end_while_somebody_is_in_the_air(self, session, day):
        released(session, day)
        step(session, day, "land")
        press(session, day, "Wren", "landed")
        with pytest.raises(RefusedError, match="Otter: not landed yet"):
            step(session, day, "end")

    def test_archiving_while_a_heat_is_called(self, session, day):
        call_heat(session, day)
        with pytest.raises(RefusedError, match="A heat is called"):
            days.archive(session, day.code, NOW)

    def test_saying_which_heat_is_next_while_one_is_called(self, session, day):
        call_heat(session, day)
        with pytest.raises(RefusedError, match="A heat is called"):
            flown_heats.next_heat(session, day, 2, NOW)


def _with_ban(settings_json, mhz):
    return json.dumps({**json.loads(settings_json), "bans": [mhz]})


class TestFlying:
    def test_a_heat_from_the_call_to_its_end(self, session, day):
        released(session, day)
        assert words(session, day)["Wren"] == words(session, day)["Otter"] == "FLY"
        step(session, day, "land")
        assert words(session, day)["Wren"] == "LAND"
        step(session, day, "all landed")
        assert words(session, day)["Wren"] == "DISARM THEN POWER OFF"
        call = step(session, day, "end")
        assert (call.stage, call.ended_at, day.flown_heats) == ("over", NOW, 1)
        assert words(session, day) == {
            "Wren": "STAY OFF",
            "Otter": "STAY OFF",
            "Rook": "READY",
            "Quill": "READY",
        }
        assert stored.flights(session, day.id) == {place(session, day, "Wren").pilot_id: 1} | {
            place(session, day, "Otter").pilot_id: 1
        }

    def test_a_heat_is_flown_without_a_no_show_and_counts(self, session, day):
        call_heat(session, day)
        press(session, day, "Otter", "leave out")
        press(session, day, "Wren", "picture is clear")
        for event in ("release", "land", "all landed", "end"):
            step(session, day, event)
        assert day.flown_heats == 1
        assert stored.flights(session, day.id) == {id_of(session, day, "Wren"): 1}

    def test_a_stopped_heat_that_does_not_count_is_next_again(self, session, day):
        released(session, day)
        call = step(session, day, "stop", reason="Rain.", counts=False)
        assert (call.counts, call.reason) == (False, "Rain.")
        assert words(session, day)["Wren"] == "LAND"
        assert "Heat 1 is stopped: everybody lands. Rain." in last_row(session, day).text
        step(session, day, "all landed")
        step(session, day, "end")
        assert day.flown_heats == 0
        assert stored.flights(session, day.id) == {}
        flown(session, day)
        assert stored.flights(session, day.id)[id_of(session, day, "Wren")] == 1

    def test_a_stopped_heat_that_counts_is_flown(self, session, day):
        released(session, day)
        step(session, day, "stop", counts=True)
        step(session, day, "all landed")
        step(session, day, "end")
        assert day.flown_heats == 1

    def test_whether_it_counts_can_be_said_while_it_lands(self, session, day):
        call = released(session, day)
        step(session, day, "stop", counts=False)
        calls.set_counts(session, day, True, call.seen, "director", NOW)
        assert call.counts
        assert last_row(session, day).text == "Heat 1 counts as flown."

    def test_a_heat_stopped_before_its_release_never_counts(self, session, day):
        call_heat(session, day)
        call = step(session, day, "stop", counts=True)
        assert not call.counts
        with pytest.raises(RefusedError, match="Nobody was released"):
            calls.set_counts(session, day, True, call.seen, "director", NOW)

    def test_a_flown_heat_is_flown_again_and_both_count(self, session, day):
        flown(session, day)
        flown(session, day, 1)
        assert day.flown_heats == 1
        assert stored.flights(session, day.id)[id_of(session, day, "Wren")] == 2

    def test_a_later_heat_called_first_leaves_a_gap_that_closes(self, session, day):
        flown(session, day, 2)
        assert day.flown_heats == 0
        assert words(session, day)["Wren"] == "READY"
        flown(session, day, 1)
        assert day.flown_heats == 2

    def test_heats_ahead_again_by_the_directors_word_are_flown_anew(self, session, day):
        flown(session, day, 1)
        flown(session, day, 2)
        flown_heats.next_heat(session, day, 1, NOW)
        flown(session, day, 1)
        assert day.flown_heats == 1

    def test_who_withdraws_while_called_comes_off_the_line(self, session, day):
        released(session, day)
        set_state(session, day, "Otter", WITHDRAWN)
        assert page(session, day, "Otter").word == "LAND"
        step(session, day, "land")
        assert page(session, day, "Otter").standing == "withdrawn"
        assert stages(session, day)["Otter"] == "landing"


class TestUndo:
    def undo(self, session, day):
        words, seen = call_slots.undo_seen(session, day)
        call_slots.undo(session, day, seen, "director", NOW)
        return words

    def test_undoing_a_call_tells_who_may_be_on_to_power_off(self, session, day):
        call_heat(session, day)
        press(session, day, "Wren", "picture is clear")
        step(session, day, "stop")
        assert words(session, day)["Wren"] == words(session, day)["Otter"] == "DISARM THEN POWER OFF"

    def test_the_call_itself_is_undone_as_a_stop(self, session, day):
        call_heat(session, day)
        assert self.undo(session, day) == "the call is taken back"
        assert stages(session, day) == {"Wren": "landed", "Otter": "left out"}
        assert not stored.live(session, day.id).counts

    def test_a_clear_picture_is_taken_back(self, session, day):
        call_heat(session, day)
        press(session, day, "Wren", "picture is clear")
        assert self.undo(session, day) == "Wren: the picture is not clear after all."
        assert place(session, day, "Wren").picture_at is None
        assert stages(session, day) == {"Wren": "power up", "Otter": "landed"}

    def test_a_release_has_no_undo_since_somebody_may_be_in_the_air(self, session, day):
        released(session, day)
        assert call_slots.undo_seen(session, day) is None

    def test_landing_is_undone_by_flying_on(self, session, day):
        released(session, day)
        step(session, day, "land")
        assert self.undo(session, day) == "Heat 1 flies on"
        assert set(stages(session, day).values()) == {"flying"}

    def test_all_landed_is_undone_to_landing(self, session, day):
        released(session, day)
        step(session, day, "land")
        step(session, day, "all landed")
        assert self.undo(session, day) == "They are in the air still"
        assert words(session, day)["Wren"] == "LAND"

    def test_the_end_is_undone_and_its_count_with_it(self, session, day):
        flown(session, day)
        assert self.undo(session, day) == "Heat 1 is not over"
        assert (stored.live(session, day.id).stage, day.flown_heats) == ("landing", 0)

    def test_the_second_of_two_undos_is_told_so(self, session, day):
        call_heat(session, day)
        _, seen = call_slots.undo_seen(session, day)
        call_slots.undo(session, day, seen, "director", NOW)
        with pytest.raises(OvertakenError, match="Something else happened"):
            call_slots.undo(session, day, seen, "director", NOW)
