import json
import random
import shutil
from copy import deepcopy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from server.services import draft_changes, edits, plans
from server.services.draft_changes import StaleDraftError
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError, ServiceError
from server.services.standings import draft_mark, standing
from server.storage import logbook, pilots, published_plans
from server.storage.session import Database
from server.storage.tables import WITHDRAWN, FieldDay
from tests.factories import NOW, make_day, make_pilot
from tests.services.planned_days import day_with_pilots, edit, plan_at_once, version


def id_of(session: Session, day: FieldDay, callsign: str) -> int:
    return pilots.by_callsign_key(session, day.id, callsign.casefold()).id


def publish(session: Session, day: FieldDay, answers_for: bool = False) -> int:
    now = standing(session, day).draft
    return plans.publish(session, day, now.version, now.seen, answers_for, NOW).number


def seats(session: Session, day: FieldDay) -> list[list[tuple[str, int, float]]]:
    heats = standing(session, day).draft.snapshot["heats"]
    return [[(slot["callsign"], slot["mhz"], slot["power_mw"]) for slot in heat["slots"]] for heat in heats]


class TestEditing:
    def test_a_new_channel_holds_in_every_heat(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren Otter"))
        wren = id_of(session, day, "Wren")
        text = edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        assert text == "Wren moves to F8 5880."
        assert [heat[0] for heat in seats(session, day)] == [("Wren", 5880, 25)] * 2

    def test_a_new_channel_may_hold_in_one_heat_alone_and_is_named(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren Otter"))
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880, 2))
        assert [heat[0][1] for heat in seats(session, day)] == [5658, 5880]
        broken = standing(session, day).draft.faults.broken
        assert broken == ("Wren changes channel between heats: 5658, 5880 MHz.",)

    def test_a_channel_that_the_gear_has_not_is_refused_in_words(self, session):
        day = day_with_pilots(session, "Wren")
        make_pilot(session, day, "Rook", tunes="R1 R2")
        plan_at_once(session, day)
        rook = id_of(session, day, "Rook")
        with pytest.raises(InputError) as refused:
            edit(session, day, lambda content, basis: edits.tune(content, basis, rook, 5800))
        assert refused.value.faults == {
            "mhz": "Rook cannot use 5800 MHz today. Choose one of R1 5658, R2 5695."
        }

    def test_swapping_channels_keeps_the_heats(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        wren, otter = id_of(session, day, "Wren"), id_of(session, day, "Otter")
        edit(session, day, lambda content, basis: edits.swap_channels(content, basis, 1, wren, otter))
        assert seats(session, day) == [[("Wren", 5695, 25), ("Otter", 5658, 25)]]

    def test_pilots_of_two_heats_trade_places_on_their_own_channels(self, session):
        day = day_with_pilots(session, "Wren", "Otter", "Rook", "Quill", aircraft=2)
        plan_at_once(session, day)
        wren, rook = id_of(session, day, "Wren"), id_of(session, day, "Rook")
        edit(session, day, lambda content, basis: edits.trade_places(content, basis, 1, wren, 2, rook))
        assert seats(session, day) == [
            [("Otter", 5695, 25), ("Rook", 5658, 25)],
            [("Quill", 5695, 25), ("Wren", 5658, 25)],
        ]

    def test_moving_into_a_heat_that_holds_the_pilot_is_refused(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren"))
        wren = id_of(session, day, "Wren")
        with pytest.raises(InputError, match="flies in heat 2 already"):
            edit(session, day, lambda content, basis: edits.move(content, basis, 1, wren, 2))

    def test_a_pin_holds_through_the_next_planning(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        edit(session, day, lambda content, basis: edits.pin(content, basis, 1, wren))
        plan_at_once(session, day)
        assert seats(session, day)[0][0] == ("Wren", 5880, 25)
        edit(session, day, lambda content, basis: edits.unpin(content, basis, wren))
        plan_at_once(session, day)
        assert seats(session, day)[0][0] == ("Wren", 5658, 25)

    def test_a_power_set_by_hand_goes_back_to_the_common_level(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, 200))
        assert seats(session, day)[0][0] == ("Wren", 5658, 200)
        assert standing(session, day).draft.basis.pilots[wren].power_mw == 200
        edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, None))
        assert seats(session, day)[0][0] == ("Wren", 5658, 25)
        with pytest.raises(InputError, match="Wren can set 25 200 mW today"):
            edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, 600))

    def test_typed_callsigns_make_a_heat_on_known_channels(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        make_pilot(session, day, "Late One")
        text = edit(session, day, lambda content, basis: edits.put_in(content, basis, "otter late one, WREN"))
        assert text == "Otter, Late One and Wren fly in the new heat 2."
        flown = {callsign: mhz for callsign, mhz, _ in seats(session, day)[1]}
        assert (flown["Otter"], flown["Wren"]) == (5695, 5658)
        assert min(abs(flown["Late One"] - 5695), abs(flown["Late One"] - 5658)) >= 20

    def test_a_callsign_that_nobody_has_is_named_with_the_likely_one(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        with pytest.raises(InputError) as refused:
            edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren Oter"))
        assert "Otter" in refused.value.faults["callsigns"]

    def test_a_deleted_heat_moves_the_later_ones_up(self, session):
        day = day_with_pilots(session, "Wren", "Otter", "Rook", aircraft=2)
        plan_at_once(session, day)
        text = edit(session, day, lambda content, _basis: edits.delete_heat(content, 1))
        assert text == "Heat 1 is deleted, with 2 pilots in it."
        assert seats(session, day) == [[("Rook", 5658, 25)]]
        assert standing(session, day).left_out == ("Wren", "Otter")

    def test_every_change_enters_the_logbook(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        wren = id_of(session, day, "Wren")
        text = edit(session, day, lambda content, basis: edits.remove(content, basis, 1, wren))
        newest = logbook.newest_first(session, day.id, 2)
        assert [entry.text for entry in newest] == [text, "Planned 2 pilots in 1 heat."]


class TestBans:
    def test_a_ban_names_the_slots_on_it_and_undo_lifts_it(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        draft_changes.ban(session, day, version(session, day), 5658, NOW)
        assert standing(session, day).draft.faults.forbidden == (
            "Heat 1: Wren cannot use 5658 MHz today, by gear, rules or bans. Choose another channel.",
        )
        draft_changes.undo(session, day, version(session, day), NOW)
        assert standing(session, day).draft.faults.forbidden == ()
        assert json.loads(day.settings_json)["bans"] == []

    def test_a_lifted_ban_comes_back_by_undo(self, session):
        day = day_with_pilots(session, "Wren", settings_json='{"bans": [5658, 5800]}')
        draft_changes.lift_ban(session, day, 0, 5658, NOW)
        assert json.loads(day.settings_json)["bans"] == [5800]
        draft_changes.undo(session, day, version(session, day), NOW)
        assert json.loads(day.settings_json)["bans"] == [5658, 5800]


class TestUndo:
    def test_says_when_nothing_is_left(self, session):
        day = day_with_pilots(session, "Wren")
        with pytest.raises(RefusedError, match="nothing to undo"):
            draft_changes.undo(session, day, 0, NOW)

    def test_planning_can_be_undone(self, session):
        day = day_with_pilots(session, "Wren")
        plan_at_once(session, day)
        assert standing(session, day).draft.undo == "Planned 1 pilot in 1 heat."
        draft_changes.undo(session, day, version(session, day), NOW)
        assert standing(session, day).draft.content.heats == ()


class TestPublishing:
    def test_gives_numbers_and_keeps_what_was_seen(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        seen = standing(session, day).draft.snapshot
        assert publish(session, day) == 1
        stored = deepcopy(plans.published_plan(session, day, 1))
        advised = [slot.pop("advice") for heat in stored["heats"] for slot in heat["slots"]]
        assert stored["heats"] == seen["heats"]
        assert [one["ceiling_db"] for one in advised] == [8.0, 8.0]
        assert (stored["number"], stored["published_by"]) == (1, "director")
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        assert publish(session, day) == 2
        assert plans.published_plan(session, day, 2)["replaces"] == 1
        assert logbook.newest_first(session, day.id, 1)[0].text.startswith(
            "Published plan 2: 2 pilots in 1 heat"
        )

    def test_waits_for_rules_or_responsibility(self, session):
        day = day_with_pilots(session, "Wren", responsibility=None)
        plan_at_once(session, day)
        with pytest.raises(RefusedError, match="Site & rules"):
            publish(session, day)

    def test_an_empty_draft_cannot_go_out(self, session):
        day = day_with_pilots(session, "Wren")
        with pytest.raises(RefusedError):
            publish(session, day)

    def test_the_second_of_two_presses_finds_the_first_ones_plan(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        both_saw = standing(session, day).draft
        plans.publish(session, day, both_saw.version, both_saw.seen, False, NOW)
        with pytest.raises(OvertakenError) as told:
            plans.publish(session, day, both_saw.version, both_saw.seen, False, NOW)
        assert str(told.value) == "Plan 1 is published already, from this very draft."
        assert len(plans.history(session, day)) == 1

    def test_a_draft_that_says_nothing_new_does_not_get_a_number(self, session):
        day = day_with_pilots(session, "Wren")
        plan_at_once(session, day)
        publish(session, day)
        with pytest.raises(RefusedError, match="nothing to publish"):
            publish(session, day)

    def test_gear_that_changed_after_the_page_was_loaded_has_to_be_seen_first(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        seen = standing(session, day).draft
        aircraft = pilots.aircraft_of(session, id_of(session, day, "Wren"))[0]
        aircraft.antenna = "lhcp"
        session.flush()
        with pytest.raises(OvertakenError, match="roster or the site changed"):
            plans.publish(session, day, seen.version, seen.seen, False, NOW)
        assert publish(session, day) == 1

    def test_broken_rules_go_out_only_when_the_director_answers_for_them(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5705))
        broken = standing(session, day).draft.faults.broken
        assert broken[0] == "Heat 1: Wren and Otter are 10 MHz apart, less than 20."
        with pytest.raises(InputError) as refused:
            publish(session, day)
        assert set(refused.value.faults) == {"answers_for"}
        publish(session, day, answers_for=True)
        assert f"Published all the same: {broken[0]}" in plans.published_plan(session, day, 1)["warnings"]
        assert broken[0] in logbook.newest_first(session, day.id, 1)[0].text

    def test_a_channel_that_the_gear_has_not_never_goes_out(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        pilots.aircraft_of(session, id_of(session, day, "Wren"))[0].tunes = "R8"
        session.flush()
        with pytest.raises(RefusedError, match="Wren cannot use 5658 MHz"):
            publish(session, day, answers_for=True)

    def test_a_published_plan_stays_as_it_was_when_gear_changes(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        publish(session, day)
        before = published_plans.latest(session, day.id).snapshot_json
        for callsign in ("Wren", "Otter"):
            pilots.aircraft_of(session, id_of(session, day, callsign))[0].rx_antenna = "linear"
        session.flush()
        now = standing(session, day)
        assert now.published == json.loads(before)
        assert now.shift_db is not None
        assert now.is_ahead


class TestStalePages:
    def test_a_change_for_an_older_draft_is_not_made_and_both_are_told(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        old = version(session, day)
        wren, otter = id_of(session, day, "Wren"), id_of(session, day, "Otter")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        with pytest.raises(StaleDraftError) as told:
            draft_changes.edit(
                session, day, old, lambda content, basis: edits.tune(content, basis, otter, 5732), NOW
            )
        assert told.value.since == ["Wren moves to F8 5880."]
        assert told.value.intended == "Otter moves to R3 5732."
        assert seats(session, day) == [[("Wren", 5880, 25), ("Otter", 5695, 25)]]


class TestRosterChanges:
    def test_who_withdraws_leaves_the_draft_and_is_named(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        publish(session, day)
        pilots.by_callsign_key(session, day.id, "otter").state = WITHDRAWN
        session.flush()
        now = standing(session, day)
        assert now.draft.absent == ("Otter is withdrawn: the slot in heat 1 is empty.",)
        assert now.differences == ("Otter no longer flies",)
        assert now.published["heats"][0]["slots"][1]["callsign"] == "Otter"

    def test_an_older_plan_comes_back_as_a_draft_without_who_left(self, session):
        day = day_with_pilots(session, "Wren", "Otter")
        plan_at_once(session, day)
        publish(session, day)
        wren = id_of(session, day, "Wren")
        edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
        publish(session, day)
        pilots.by_callsign_key(session, day.id, "otter").state = WITHDRAWN
        session.flush()
        plans.bring_back(session, day, version(session, day), 1, NOW)
        assert seats(session, day) == [[("Wren", 5658, 25)]]
        assert standing(session, day).draft.based_on == 1
        with pytest.raises(NotFoundError):
            plans.bring_back(session, day, version(session, day), 9, NOW)

    def test_latecomers_are_named(self, session):
        day = day_with_pilots(session, "Wren")
        plan_at_once(session, day)
        make_pilot(session, day, "Rook")
        assert standing(session, day).left_out == ("Rook",)


def test_the_mark_at_the_top_of_every_page(session):
    day = make_day(session, responsibility="The chair")
    assert draft_mark(session, day) == ("draft", "Nothing is published")
    make_pilot(session, day, "Wren")
    plan_at_once(session, day)
    assert draft_mark(session, day) == ("draft", "A draft, nothing is published")
    publish(session, day)
    assert draft_mark(session, day) == ("published", "Plan 1 is live")
    wren = id_of(session, day, "Wren")
    edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
    assert draft_mark(session, day) == ("draft", "Plan 1 is live · draft differs in 1 slot")


def random_change(dice: random.Random, ids: list[int]):
    """Any edit with any arguments; many cannot be made, which is part of it."""
    heat, other_heat = dice.randint(0, 4), dice.randint(1, 4)
    one, other = dice.choice(ids), dice.choice(ids)
    return dice.choice(
        [
            lambda content, basis: edits.tune(
                content, basis, one, dice.choice([5658, 5800, 5917]), heat or None
            ),
            lambda content, basis: edits.move(content, basis, heat, one, other_heat),
            lambda content, basis: edits.swap_channels(content, basis, heat, one, other),
            lambda content, basis: edits.trade_places(content, basis, heat, one, other_heat, other),
            lambda content, basis: edits.remove(content, basis, heat, one),
            lambda content, basis: edits.pin(content, basis, heat, one),
            lambda content, basis: edits.unpin(content, basis, one),
            lambda content, basis: edits.set_power(content, basis, one, dice.choice([None, 25.0, 200.0])),
            lambda content, basis: edits.put_in(content, basis, "Wren Rook", dice.choice([None, other_heat])),
            lambda content, _basis: edits.delete_heat(content, heat),
        ]
    )


@given(seed=st.integers(0, 2**32))
@settings(max_examples=8)
def test_random_edits_leave_published_plans_alone_and_undo_restores_each(database_of_module, seed):
    dice = random.Random(seed)
    with database_of_module.write() as session:
        day = day_with_pilots(session, aircraft=2)
        plan_at_once(session, day)
        publish(session, day)
        published = published_plans.latest(session, day.id).snapshot_json
        ids = [pilot.id for pilot in pilots.of_day(session, day.id)]
        contents = [standing(session, day).draft.content]
        for _ in range(8):
            try:
                edit(session, day, random_change(dice, ids))
            except ServiceError:
                assert standing(session, day).draft.content == contents[-1]
                continue
            contents.append(standing(session, day).draft.content)
            aloft = [[slot.pilot_id for slot in heat.slots] for heat in contents[-1].heats]
            assert all(len(set(heat)) == len(heat) for heat in aloft)
        while len(contents) > 1:
            assert standing(session, day).draft.content == contents.pop()
            draft_changes.undo(session, day, version(session, day), NOW)
        assert standing(session, day).draft.content == contents[0]
        assert published_plans.latest(session, day.id).snapshot_json == published
        assert not standing(session, day).is_ahead


@pytest.fixture(scope="module")
def database_of_module(migrated_file, tmp_path_factory):
    database = Database(shutil.copy(migrated_file, tmp_path_factory.mktemp("edits") / "bandstand.sqlite"))
    yield database
    database.close()
