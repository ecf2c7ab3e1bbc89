import pytest

from server.services import draft_changes, edits, flown_heats, pilots, planning, plans
from server.services.errors import InputError, RefusedError
from server.services.standings import standing
from server.storage import logbook
from server.storage.tables import WITHDRAWN
from tests.factories import NOW
from tests.services.changed_days import CREW, id_of, publish, published_day, seats
from tests.services.planned_days import day_with_pilots, edit, plan_at_once, tiny_plan, version


class TestSaying:
    def test_the_next_heat_says_what_is_flown_and_the_logbook_keeps_it(self, session):
        day = published_day(session)
        flown_heats.next_heat(session, day, 2, NOW)
        assert day.flown_heats == 1
        assert logbook.newest_first(session, day.id, 1)[0].text == "Heat 1 is flown: heat 2 is next."

    def test_all_may_be_flown_and_none_again(self, session):
        day = published_day(session)
        flown_heats.next_heat(session, day, 3, NOW)
        assert logbook.newest_first(session, day.id, 1)[0].text == "Heats 1 to 2 are flown."
        flown_heats.next_heat(session, day, 1, NOW)
        assert day.flown_heats == 0
        assert logbook.newest_first(session, day.id, 1)[0].text == "No heat is flown yet: heat 1 is next."

    def test_saying_the_same_twice_writes_no_row(self, session):
        day = published_day(session, flown=1)
        before = logbook.newest_first(session, day.id, 1)[0].id
        flown_heats.next_heat(session, day, 2, NOW)
        assert logbook.newest_first(session, day.id, 1)[0].id == before

    @pytest.mark.parametrize("number", [0, 4])
    def test_a_heat_that_is_not_there_is_refused(self, session, number):
        day = published_day(session)
        with pytest.raises(InputError, match="Plan 1 has heats 1 to 2"):
            flown_heats.next_heat(session, day, number, NOW)

    def test_nothing_can_be_flown_before_a_plan(self, session):
        day = day_with_pilots(session)
        with pytest.raises(RefusedError, match="No plan is published"):
            flown_heats.next_heat(session, day, 2, NOW)


class TestHistory:
    def test_a_flown_heat_stays_as_it_was_stored_whatever_becomes_of_its_pilots(self, session):
        day = published_day(session, flown=1)
        before = standing(session, day).published["heats"][0]
        wren = id_of(session, day, "Wren")
        pilots.set_state(session, day, pilots.pilot_of(session, day, wren), WITHDRAWN, "director", NOW)
        now = standing(session, day)
        assert now.draft.snapshot["heats"][0] == before
        assert now.draft.absent == ()
        assert not now.is_ahead

    def test_a_channel_changed_everywhere_is_changed_ahead_alone(self, session):
        day = published_day(session)
        edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren Rook"))
        publish(session, day, answers_for=True)
        flown_heats.next_heat(session, day, 2, NOW)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        assert seats(session, day)[0][0] == ("Wren", 5658)
        assert ("Wren", 5880) in seats(session, day)[2]

    @pytest.mark.parametrize(
        "change",
        [
            lambda content, basis: edits.delete_heat(content, 1),
            lambda content, basis: edits.put_in(content, basis, "Rook", 1),
            lambda content, basis: edits.move(content, basis, 1, next(iter(basis.pilots)), 2),
        ],
    )
    def test_who_flew_cannot_be_changed(self, session, change):
        day = published_day(session, flown=1)
        with pytest.raises(RefusedError, match="Heat 1 has been flown and stays as published"):
            edit(session, day, change)

    def test_a_plan_of_the_whole_day_is_refused(self, session):
        day = published_day(session, flown=1)
        with pytest.raises(RefusedError, match="would rewrite them"):
            planning.ask(session, day)

    def test_a_plan_asked_for_before_is_not_taken_after_a_heat_was_flown(self, session):
        day = published_day(session)
        question = planning.ask(session, day)
        flown_heats.next_heat(session, day, 2, NOW)
        answer = planning.Answer(question, tiny_plan(question.problem))
        with pytest.raises(RefusedError, match="would rewrite them"):
            planning.keep_all_the_same(session, day, version(session, day), answer, NOW)

    def test_an_older_plan_comes_back_behind_what_was_flown(self, session):
        day = published_day(session)
        wren = id_of(session, day, "Wren")
        rook = id_of(session, day, "Rook")
        edit(session, day, lambda content, basis: edits.trade_places(content, basis, 1, wren, 2, rook))
        publish(session, day)
        flown_heats.next_heat(session, day, 2, NOW)
        first = plans.published_plan(session, day, 1)
        draft_changes.bring_back(session, day, version(session, day), first, NOW)
        assert sorted(name for name, _ in seats(session, day)[0]) == ["Otter", "Rook"]
        assert sorted(name for name, _ in seats(session, day)[1]) == ["Quill", "Rook"]

    def test_undo_leaves_what_was_flown(self, session):
        day = day_with_pilots(session, *CREW, aircraft=2)
        plan_at_once(session, day)
        publish(session, day)
        edit(session, day, lambda content, basis: edits.delete_heat(content, 2))
        flown_heats.next_heat(session, day, 2, NOW)
        draft_changes.undo(session, day, version(session, day), NOW)
        assert len(seats(session, day)) == 2
        assert seats(session, day)[0] == [("Wren", 5658), ("Otter", 5695)]

    def test_the_worst_margin_is_that_of_the_heats_ahead(self, session):
        day = published_day(session, "Wren", "Otter", "Rook")
        assert standing(session, day).draft.snapshot["worst_margin_db"] is not None
        flown_heats.next_heat(session, day, 2, NOW)
        now = standing(session, day)
        assert now.draft.snapshot["worst_margin_db"] is None  # Rook flies alone in heat 2
        assert now.draft.snapshot["flown_heats"] == 1
        assert now.shift_db is None
        assert not now.is_ahead

    def test_rules_broken_in_a_flown_heat_are_history(self, session):
        day = published_day(session)
        draft_changes.ban(session, day, version(session, day), 5658, NOW)
        assert any("Heat 1" in fault for fault in standing(session, day).draft.faults.forbidden)
        flown_heats.next_heat(session, day, 2, NOW)
        found = standing(session, day).draft.faults
        assert not any("Heat 1" in fault for fault in (*found.forbidden, *found.broken))
        assert any("Heat 2" in fault for fault in found.forbidden)
