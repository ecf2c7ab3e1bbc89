import pytest

from server.services import aircraft, day_changes, draft_changes, edits, flown_heats, lineup, pilots
from server.services import trade_offs as costs
from server.services.draft_changes import StaleDraftError
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.jobs import Jobs
from server.services.standings import standing
from server.storage import logbook
from tests.factories import NOW, make_aircraft, make_pilot
from tests.services.changed_days import (
    CREW,
    answered,
    happen,
    id_of,
    publish,
    published_day,
    rows_of,
    seats,
    take,
)
from tests.services.planned_days import day_with_pilots, edit, version
from tests.waiting import ended_job


class TestEvents:
    def test_a_late_pilot_joins_and_nobody_moves(self, session):
        day = published_day(session, aircraft=3)
        late = make_pilot(session, day, "Late")
        happened = happen(session, day, "late", pilot=late.id)
        assert (happened.text, happened.joining) == ("Late arrives late.", (late.id,))
        answer = answered(session, day, happened)
        assert answer.changed.rows[0].moved == 0
        take(session, day, answer)
        assert sum(name == "Late" for heat in seats(session, day) for name, _ in heat) == 1
        assert standing(session, day).draft.faults.broken == ()

    def test_all_who_are_late_join_together(self, session):
        day = published_day(session)
        ids = {make_pilot(session, day, name).id for name in ("Late", "Later")}
        happened = happen(session, day, "late", pilot="all")
        assert set(happened.joining) == ids
        assert happened.text == "Late, Later arrive late."

    @pytest.mark.parametrize(
        ("state", "text", "kept"),
        [("withdrawn", "Otter withdraws.", "withdrawn"), ("no-show", "Otter did not come.", "no-show")],
    )
    def test_who_flies_no_more_leaves_an_empty_place(self, session, state, text, kept):
        day = published_day(session)
        otter = id_of(session, day, "Otter")
        happened = happen(session, day, "gone", pilot=otter, state=state)
        assert happened.text == text
        assert pilots.pilot_of(session, day, otter).state == kept
        take(session, day, answered(session, day, happened))
        assert seats(session, day)[0] == [("Wren", 5658)]
        assert happened.undo == {"act": "back", "pilot": str(otter)}
        happen(session, day, **happened.undo)
        assert pilots.pilot_of(session, day, otter).state == "checked in"

    def test_a_spare_that_cannot_tune_the_channel_moves_its_pilot(self, session):
        day = published_day(session)
        otter = pilots.pilot_of(session, day, id_of(session, day, "Otter"))
        main, spare = otter.flying_aircraft_id, make_aircraft(session, otter, "R7 R8", name="spare 1")
        happened = happen(session, day, "spare", aircraft=f"{otter.id}:{spare.id}")
        assert happened.text == "Otter flies spare 1 from now on. Check its picture."
        (move,) = answered(session, day, happened).changed.rows[0].moves
        assert (move.callsign, move.from_mhz) == ("Otter", 5695)
        assert move.to_mhz in (5880, 5917)
        happen(session, day, **happened.undo)
        assert otter.flying_aircraft_id == main

    def test_a_noisy_channel_is_out_of_use_and_moves_who_is_on_it(self, session):
        day = published_day(session, flown=1)
        row = rows_of(session, day, "noisy", mhz=5695).rows[0]
        assert [(move.callsign, move.from_mhz) for move in row.moves] == [("Quill", 5695)]
        draft_changes.undo(session, day, version(session, day), NOW)
        assert rows_of(session, day, "look").rows[0].moves == ()

    def test_down_still_on_moves_who_is_near(self, session):
        day = published_day(session, flown=1)
        happened = happen(session, day, "down", pilot=id_of(session, day, "Otter"))
        assert happened.text == "Otter is down, still on, on 5695 MHz."
        answer = answered(session, day, happened)
        assert [move.callsign for move in answer.changed.rows[0].moves] == ["Quill"]
        take(session, day, answer)
        assert standing(session, day).draft.faults.broken == ()

    def test_a_heat_flown_again_comes_last_with_who_is_still_here(self, session):
        day = published_day(session, flown=1)
        wren = pilots.pilot_of(session, day, id_of(session, day, "Wren"))
        happened = happen(session, day, "again", heat=1)
        assert happened.text == "Heat 1 is flown again as heat 3."
        assert seats(session, day)[2] == [("Wren", 5658), ("Otter", 5695)]
        pilots.set_state(session, day, wren, "withdrawn", "director", NOW)
        take(session, day, answered(session, day, happened))
        assert seats(session, day)[2] == [("Otter", 5695)]

    @pytest.mark.parametrize(
        ("form", "field"),
        [
            ({"act": "late", "pilot": "999"}, "pilot"),
            ({"act": "gone", "pilot": "x", "state": "withdrawn"}, "pilot"),
            ({"act": "gone", "pilot": "{wren}", "state": "asleep"}, "state"),
            ({"act": "noisy", "mhz": "R1"}, "mhz"),
            ({"act": "again", "heat": "2"}, "heat"),
            ({"act": "again", "heat": "0"}, "heat"),
            ({"act": "rain"}, "act"),
        ],
    )
    def test_a_choice_that_is_none_is_told_at_its_field(self, session, form, field):
        day = published_day(session, flown=1)
        sent = {name: text.format(wren=id_of(session, day, "Wren")) for name, text in form.items()}
        with pytest.raises(InputError) as refused:
            happen(session, day, **sent)
        assert set(refused.value.faults) == {field}

    def test_the_choices_are_those_of_the_day(self, session):
        day = published_day(session, flown=1)
        late = make_pilot(session, day, "Late")
        rook = pilots.pilot_of(session, day, id_of(session, day, "Rook"))
        spare = make_aircraft(session, rook, "R1", name="spare 1")
        picks = day_changes.choices(session, day, standing(session, day).draft)
        assert picks.late == ((str(late.id), "Late"),)  # Wren and Otter are through
        assert [words for _, words in picks.flying] == ["Quill", "Rook"]
        assert picks.spares == ((f"{rook.id}:{spare.id}", "Rook, spare 1: R1"),)
        assert [words for _, words in picks.noisy] == ["R1 5658", "R2 5695"]
        assert [words for _, words in picks.down] == ["Late", "Otter", "Quill", "Rook", "Wren"]
        assert picks.again == (("1", "Heat 1"),)
        make_pilot(session, day, "Later")
        both = day_changes.choices(session, day, standing(session, day).draft).late
        assert [words for _, words in both] == ["Both of them", "Late", "Later"]
        make_pilot(session, day, "Last")
        three = day_changes.choices(session, day, standing(session, day).draft).late
        assert three[0] == ("all", "All 3 of them")


class TestAsking:
    def test_without_a_plan_there_is_nothing_to_change(self, session):
        day = day_with_pilots(session, *CREW)
        with pytest.raises(RefusedError, match="no plan yet"):
            costs.ask(day, standing(session, day).draft, (), "")

    def test_after_the_last_heat_there_is_nothing_either(self, session):
        day = published_day(session, flown=2)
        with pytest.raises(RefusedError, match="nothing is ahead"):
            costs.ask(day, standing(session, day).draft, (), "")

    def test_a_draft_that_is_ahead_is_where_the_next_change_starts(self, session):
        day = published_day(session, aircraft=3)
        late = make_pilot(session, day, "Late")
        take(session, day, answered(session, day, happen(session, day, "late", pilot=late.id)))
        gone = answered(
            session, day, happen(session, day, "gone", pilot=id_of(session, day, "Otter"), state="no-show")
        )
        flying = {slot.callsign for heat in gone.changed.rows[0].heats for slot in heat.slots}
        assert flying == {"Wren", "Rook", "Quill", "Late"}

    def test_a_thread_works_the_rows_out(self, session):
        day = published_day(session)
        question = costs.ask(day, standing(session, day).draft, (), "Nothing happened.")
        jobs = Jobs()
        job = costs.start(jobs, question, lambda rest, _keep_going: ("rows of", rest))
        ended_job(jobs, question.field_day_id, "change")
        jobs.close()
        assert (job.kind, job.result.question, job.result.changed) == (
            "change",
            question,
            ("rows of", question.rest),
        )


class TestTaking:
    def test_a_row_becomes_the_draft_in_words_and_can_be_undone(self, session):
        day = published_day(session, flown=1)
        take(session, day, answered(session, day, happen(session, day, "noisy", mhz=5695)))
        text = logbook.newest_first(session, day.id, 1)[0].text
        assert text.startswith("Quill moves from R2 5695 to ")
        assert standing(session, day).differences[0].startswith("Quill moves from R2 5695 to ")
        assert standing(session, day).draft.snapshot["search_notes"] == [
            "The day changed: with these pilots in these heats and 1 moved, no channels are better."
        ]
        draft_changes.undo(session, day, version(session, day), NOW)
        assert seats(session, day)[1] == [("Rook", 5658), ("Quill", 5695)]

    def test_a_row_with_nobody_moved_says_so(self, session):
        day = published_day(session, aircraft=3)
        late = make_pilot(session, day, "Late")
        take(session, day, answered(session, day, happen(session, day, "late", pilot=late.id)))
        text = logbook.newest_first(session, day.id, 1)[0].text
        assert text.startswith("Late joins heat ")
        assert text.endswith(". Nobody moves.")

    def test_new_heats_are_named(self, session):
        day = published_day(session)
        late = make_pilot(session, day, "Late")
        take(session, day, answered(session, day, happen(session, day, "late", pilot=late.id)))
        text = logbook.newest_first(session, day.id, 1)[0].text
        assert "Heat 3 is new; those behind get higher numbers." in text

    def test_a_day_that_changed_meanwhile_takes_no_row(self, session):
        day = published_day(session)
        answer = answered(session, day, happen(session, day, "look"))
        assert costs.is_current(answer.question, standing(session, day).draft)
        flown_heats.next_heat(session, day, 2, NOW)
        assert not costs.is_current(answer.question, standing(session, day).draft)
        with pytest.raises(OvertakenError, match="look again what it costs"):
            take(session, day, answer)

    def test_who_was_to_join_and_left_makes_the_rows_old(self, session):
        day = published_day(session)
        late = make_pilot(session, day, "Late")
        answer = answered(session, day, happen(session, day, "late", pilot=late.id))
        pilots.set_state(session, day, late, "withdrawn", "director", NOW)
        assert not costs.is_current(answer.question, standing(session, day).draft)

    def test_another_directors_edit_comes_first(self, session):
        day = published_day(session)
        answer = answered(session, day, happen(session, day, "look"))
        seen = version(session, day)
        edit(session, day, lambda content, basis: edits.pin(content, basis, 1, id_of(session, day, "Wren")))
        with pytest.raises(StaleDraftError, match="Wren stays on R1 5658"):
            costs.take(session, day, seen, answer, 0, NOW)

    def test_a_row_that_is_not_there_is_refused(self, session):
        day = published_day(session)
        answer = answered(session, day, happen(session, day, "look"))
        with pytest.raises(OvertakenError, match="This row is gone"):
            take(session, day, answer, 7)

    def test_given_heats_stay_given(self, session):
        day = published_day(session, flown=1)
        answer = answered(session, day, happen(session, day, "again", heat=1))
        assert answer.question.rest.problem.heats_given == (
            ("Wren", "Otter"),
            ("Rook", "Quill"),
            ("Wren", "Otter"),
        )
        take(session, day, answer)
        assert standing(session, day).draft.content.are_heats_given
        assert publish(session, day) == 2


class TestAfterwards:
    def test_the_channel_of_the_next_heat_counts_as_set(self, session):
        day = published_day(session, flown=1)
        happened = happen(session, day, "again", heat=1)
        take(session, day, answered(session, day, happened))
        otter = id_of(session, day, "Otter")
        edit(session, day, lambda content, basis: edits.tune(content, basis, otter, 5880))
        publish(session, day)
        assert lineup.published_channels(session, day)[otter] == 5880
        flown_heats.next_heat(session, day, 1, NOW)
        assert lineup.published_channels(session, day)[otter] == 5695

    def test_a_swap_back_is_no_move(self, session):
        day = published_day(session)
        otter = pilots.pilot_of(session, day, id_of(session, day, "Otter"))
        spare = make_aircraft(session, otter, "A B E F R", name="spare 1")
        aircraft.fly(session, day, otter, spare, "director", NOW)
        assert rows_of(session, day, "look").rows[0].moves == ()
