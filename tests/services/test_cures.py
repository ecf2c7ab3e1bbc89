"""Cures that the app carries out: on the roster, the draft or the day."""

import pytest

from server.allocator.plan import Cure
from server.services import cures, edits
from server.services.days import settings_of
from server.services.errors import OvertakenError, RefusedError
from server.services.standings import standing
from server.storage import pilots
from tests.factories import NOW, make_day, make_pilot
from tests.services.planned_days import day_with_pilots, edit, plan_at_once


def pilot(session, day, callsign):
    return pilots.by_callsign_key(session, day.id, callsign.casefold())


def carry_out(session, day, kind, *callsigns, number=0):
    cures.carry_out(session, day, Cure(kind, "words", number, callsigns), NOW)


@pytest.mark.parametrize("kind", ["more heats", "more at once"])
def test_how_many_fly_at_once_is_set(session, kind):
    day = make_day(session)
    carry_out(session, day, kind, number=5)
    assert day.aircraft == 5


def test_a_pin_of_the_roster_and_one_of_the_draft_are_both_lifted(session):
    day = make_day(session)
    wren = make_pilot(session, day, "Wren", pin="R1")
    plan_at_once(session, day)
    edit(session, day, lambda content, basis: edits.pin(content, basis, 1, wren.id))
    carry_out(session, day, "unpin", "Wren")
    assert pilot(session, day, "Wren").pin == ""
    assert wren.id not in standing(session, day).draft.content.pins


def test_a_carrier_is_in_use_again(session):
    day = make_day(session, settings_json='{"bans": [5800, 5820]}')
    carry_out(session, day, "lift ban", number=5800)
    assert settings_of(day).bans == (5820,)


@pytest.mark.parametrize("wish", ["apart", "together"])
def test_a_wish_goes_on_both_sides_and_others_stay(session, wish):
    day = make_day(session)
    make_pilot(session, day, "Wren", **{wish: "Otter, Rook"})
    make_pilot(session, day, "Otter", **{wish: "Wren"})
    make_pilot(session, day, "Rook")
    carry_out(session, day, wish, "Wren", "Otter")
    assert getattr(pilot(session, day, "Wren"), wish) == "Rook"
    assert getattr(pilot(session, day, "Otter"), wish) == ""


def test_a_set_heat_is_lifted(session):
    day = make_day(session)
    make_pilot(session, day, "Wren", heat=2, note="kept")
    carry_out(session, day, "heat", "Wren")
    assert (pilot(session, day, "Wren").heat, pilot(session, day, "Wren").note) == (None, "kept")


def test_a_pilot_is_taken_out_of_the_heat_that_the_planner_was_asked_about(session):
    day = day_with_pilots(session, "Wren", "Otter")
    plan_at_once(session, day)
    wren = pilot(session, day, "Wren").id
    for callsign in ("Wren", "Otter"):
        edit(session, day, lambda content, basis, who=callsign: edits.put_in(content, basis, who))
    edit(session, day, lambda content, basis: edits.remove(content, basis, 2, wren))
    # Heat 2 is empty now, so the second that the planner saw is heat 3.
    carry_out(session, day, "take out", "Otter", number=2)
    heats = standing(session, day).draft.content.heats
    assert [len(heat.slots) for heat in heats] == [2, 0, 0]


def test_what_only_people_can_do_is_refused_and_who_is_gone_is_told(session):
    day = make_day(session)
    with pytest.raises(RefusedError, match="Only people can do this: words"):
        carry_out(session, day, "gear", "Wren", number=5800)
    with pytest.raises(OvertakenError, match="Wren is off the roster by now"):
        carry_out(session, day, "heat", "Wren")
    with pytest.raises(OvertakenError, match="The heats are others by now"):
        carry_out(session, day, "take out", "Wren", number=1)
