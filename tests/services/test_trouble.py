import json

import pytest

from server.services import call_slots, outside_signals, trouble
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.line_desk import line_desk
from server.services.pilots import pilot_of
from server.services.trouble_air import air_now
from server.services.trouble_views import TroubleNow, trouble_desk
from server.storage import logbook
from server.storage import trouble_reports as stored
from tests.factories import NOW
from tests.services.called_days import call_heat, page, press, released, stages, step
from tests.services.changed_days import id_of, published_day


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 fly heat 1; Rook 5658 and Quill 5695 of heat 2 wait."""
    day = published_day(session)
    released(session, day, 1)
    return day


def report(session, day, callsign="Wren", who="pilot", **typed):
    pilot = pilot_of(session, day, id_of(session, day, callsign))
    return trouble.report(session, day, pilot, {"symptom": "lines"} | typed, who, NOW)


class TestAir:
    def test_it_is_the_heat_as_called_with_everybody_else_on_the_ground(self, session, day):
        now = air_now(session, day)
        assert [one.seat.mhz for one in now.air.fliers] == [5658, 5695]
        assert {one.pilot.callsign: one.mhz for one in now.air.ground} == {"Rook": 5658, "Quill": 5695}
        assert all(one.is_next for one in now.air.ground)
        # Without a pit step a set may come up on its highest.
        assert {one.power_mw for one in now.air.ground} == {200.0}

    def test_outside_signals_are_in_it(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        assert len(air_now(session, day).air.problem.site.outside) == 1

    def test_who_has_landed_is_not(self, session, day):
        step(session, day, "land")
        step(session, day, "all landed")
        assert air_now(session, day).up == {}


class TestReport:
    def test_it_ranks_the_causes_and_stands_in_the_logbook(self, session, day):
        row = report(session, day, symptom="another picture", onset="suddenly")
        causes = json.loads(row.causes_json)
        assert causes[0]["title"] == "Somebody is on in the pits: Rook or Quill first"
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert entry.action == "trouble"
        assert entry.text == "Trouble: Wren sees somebody else's picture, all of a sudden."
        assert entry.who == "pilot"

    def test_who_is_near_is_told_with_the_flicker(self, session, day):
        row = report(session, day, symptom="flicker", near="Otter", onset="from the start")
        assert trouble.told_words(row) == "flicker when Otter is near, from the start"
        assert json.loads(row.causes_json)[0]["who"] == ["Otter"]

    def test_a_newer_one_takes_the_place_of_the_pilots_open_one(self, session, day):
        first, second = report(session, day), report(session, day, symptom="black")
        assert [one.id for one in stored.still_open(session, day.id)] == [second.id]
        assert first.closed_as == "reported again"

    def test_who_is_not_in_the_air_is_told_what_to_do(self, session, day):
        with pytest.raises(RefusedError, match="Rook is not on as called"):
            report(session, day, "Rook")

    def test_every_fault_stands_under_its_field(self, session, day):
        with pytest.raises(InputError) as refused:
            report(session, day, symptom="odd", near="Coot", onset="today")
        assert list(refused.value.faults) == ["symptom", "near", "onset"]
        assert stored.still_open(session, day.id) == []


class TestWhilePoweringUp:
    """The turn is Wren's and no picture was clear yet."""

    @pytest.fixture
    def day(self, session):
        day = published_day(session)
        call_heat(session, day, 1)
        return day

    def test_who_powers_up_has_two_buttons_and_who_waits_has_none(self, session, day):
        wren = page(session, day, "Wren")
        assert wren.call.acts == ("picture is clear",)
        assert wren.trouble.told == ""
        assert page(session, day, "Otter").trouble is None

    @pytest.mark.parametrize("symptom", ["black", "another picture"])
    def test_its_report_is_ranked_and_told_to_the_desk(self, session, day, symptom):
        row = report(session, day, symptom=symptom)
        assert json.loads(row.causes_json)
        assert row.call_id is not None
        assert [one.callsign for one in trouble_desk(session, day).reports] == ["Wren"]
        assert stages(session, day)["Wren"] == "power up"

    def test_the_pilot_is_told_to_stay_on_the_ground(self, session, day):
        report(session, day, symptom="black")
        assert page(session, day, "Wren").trouble.meanwhile.startswith("Stay on the ground")

    def test_who_waits_for_the_turn_cannot_report(self, session, day):
        with pytest.raises(RefusedError, match="Otter is not on as called"):
            report(session, day, "Otter")


class TestCauses:
    def test_each_has_numbers_and_a_cure(self, session, day):
        for cause in json.loads(report(session, day).causes_json):
            assert cause["title"]
            assert cause["numbers"].startswith("The picture would then be ")
            assert cause["cure"].endswith(".")

    def test_a_wrong_channel_is_named_with_the_right_one_and_cured_by_its_pilot_alone(self, session, day):
        found = json.loads(report(session, day, symptom="snow far out").causes_json)
        own = next(one for one in found if one["kind"] == "own channel")
        assert own["title"].startswith("Wren is on ")
        assert own["title"].endswith(", not R1 5658")
        assert own["cure"] == "Wren lands, disarms, powers off and sets R1 5658. Nobody else moves."

    def test_a_signal_that_nobody_noted_is_cured_by_leaving_its_channel(self, session, day):
        found = json.loads(report(session, day, symptom="black").causes_json)
        (one,) = [one for one in found if one["kind"] == "outside"]
        assert one["title"] == "Something that nobody has noted, on 5658 MHz"
        assert "Wren lands and moves to " in one["cure"]

    def test_a_signal_that_was_noted_is_called_by_its_name_and_another_is_not(self, session, day):
        outside_signals.note(session, day, "5660 10 -75", NOW)
        titles = [one["title"] for one in json.loads(report(session, day).causes_json)]
        assert "The outside signal at 5660 MHz" in titles
        assert "The outside signal at 5658 MHz" not in titles


class TestAnswer:
    def test_the_pilot_reads_the_test_on_the_own_page(self, session, day):
        row = report(session, day)
        assert page(session, day, "Wren").trouble.told == "lines or bars across it"
        assert page(session, day, "Wren").trouble.answer == ""
        answered = trouble.answer(session, day, row.id, str(row.version), "pits", NOW)
        assert page(session, day, "Wren").trouble.answer == answered.answer
        assert logbook.newest_first(session, day.id, 1)[0].action == "trouble test"

    def test_until_then_who_flies_is_told_to_fly_on_and_who_has_landed_nothing(self, session, day):
        report(session, day)
        assert page(session, day, "Wren").trouble.meanwhile.startswith("Fly on as you can")
        press(session, day, "Wren", "landed")
        assert page(session, day, "Wren").trouble.meanwhile == ""

    def test_a_page_that_is_overtaken_answers_nothing(self, session, day):
        row = report(session, day)
        seen = str(row.version)
        trouble.answer(session, day, row.id, seen, "pits", NOW)
        with pytest.raises(OvertakenError):
            trouble.answer(session, day, row.id, seen, "nearer", NOW)

    def test_a_test_or_cause_that_is_not_listed_is_refused(self, session, day):
        row = report(session, day)
        with pytest.raises(InputError, match="no such test"):
            trouble.answer(session, day, row.id, str(row.version), "far Coot", NOW)
        with pytest.raises(InputError, match="no such cause"):
            trouble.close(session, day, row.id, str(row.version), 99, NOW)

    def test_it_is_over_as_one_of_the_causes_or_by_itself(self, session, day):
        first = report(session, day)
        title = json.loads(first.causes_json)[1]["title"]
        trouble.close(session, day, first.id, str(first.version), 1, NOW)
        second = report(session, day)
        trouble.close(session, day, second.id, str(second.version), None, NOW)
        closed = trouble_desk(session, day).closed
        assert {one.closed_as for one in closed} == {title, "cleared by itself"}
        assert (
            logbook.newest_first(session, day.id, 1)[0].text == "Trouble of Wren is over: cleared by itself."
        )
        assert page(session, day, "Wren").trouble.told == ""


class TestEndOfTheHeat:
    def over(self, session, day):
        step(session, day, "land")
        step(session, day, "all landed")
        step(session, day, "end")

    def undo(self, session, day):
        _, seen = call_slots.undo_seen(session, day)
        call_slots.undo(session, day, seen, "director", NOW)

    def test_it_closes_what_is_open(self, session, day):
        row = report(session, day)
        self.over(session, day)
        assert stored.still_open(session, day.id) == []
        assert (row.closed_at, row.closed_as) == (NOW, "the heat is over")
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert (entry.action, entry.who) == ("trouble over", "director")
        assert entry.text == "Trouble of Wren is over: the heat is over."
        assert page(session, day, "Wren").trouble is None

    def test_what_was_closed_before_stays_as_it_was_said(self, session, day):
        row = report(session, day)
        trouble.close(session, day, row.id, str(row.version), None, NOW)
        self.over(session, day)
        self.undo(session, day)
        assert row.closed_as == "cleared by itself"

    def test_undoing_the_end_opens_it_again(self, session, day):
        row = report(session, day)
        self.over(session, day)
        self.undo(session, day)
        assert [one.id for one in stored.still_open(session, day.id)] == [row.id]
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert entry.text == "Trouble of Wren is open again: the heat is not over."
        assert line_desk(session, day).troubles == ("Wren",)

    def test_a_report_of_no_heat_stays_open(self, session, day):
        row = report(session, day)
        row.call_id = None
        self.over(session, day)
        assert [one.id for one in stored.still_open(session, day.id)] == [row.id]


class TestViews:
    def test_the_desk_has_the_newest_first_and_who_could_report(self, session, day):
        report(session, day, "Wren")
        report(session, day, "Otter", who="director")
        desk = trouble_desk(session, day)
        assert [one.callsign for one in desk.reports] == ["Otter", "Wren"]
        assert [name for _, name in desk.flying] == ["Wren", "Otter"]

    def test_only_who_is_up_can_report_and_names_the_others(self, session, day):
        now = TroubleNow(session, day)
        assert now.of(id_of(session, day, "Wren")).near == ("Otter",)
        assert now.of(id_of(session, day, "Rook")) is None
