"""The levels of power of a draft, and the choice of one."""

import pytest

from server.allocator.solve import plan_day
from server.services import edits, power_choice
from server.services.days import settings_of
from server.services.drafts import as_day_plan
from server.services.errors import InputError
from server.services.standings import standing
from server.storage import logbook
from tests.factories import NOW, make_day, make_pilot
from tests.services.planned_days import edit, plan_at_once


@pytest.fixture
def day(session):
    day = make_day(session)
    for callsign in ("Wren", "Otter"):
        make_pilot(session, day, callsign, power_mw="25 200 600")
    make_pilot(session, day, "Rook", power_mw="200")
    return day


def table_of(session, day):
    draft = standing(session, day).draft
    callsigns = {pilot_id: pilot.callsign for pilot_id, pilot in draft.basis.pilots.items()}
    heats = as_day_plan(draft.content, callsigns, draft.snapshot).heats
    return power_choice.power_table(day, draft.basis, heats, draft.content.common_power_mw)


def choose(session, day, text):
    power_choice.choose(session, day, standing(session, day).draft.basis, text, NOW)


def test_before_any_plan_there_is_no_table(session, day):
    assert table_of(session, day) is None


def test_a_table_tells_the_levels_and_whose_choice_it_was(session, day):
    plan_at_once(session, day, plan_day)
    table = table_of(session, day)
    assert [(level.common_mw, level.is_chosen) for level in table.levels] == [
        (25, False),
        (200, True),
        (600, False),
    ]
    assert table.words == "200 mW for everybody: it carries to 559 m, the course needs 80."
    assert (table.not_tried, table.is_wished) == ("", False)


def test_a_level_is_chosen_and_given_back(session, day):
    choose(session, day, "25")
    assert settings_of(day).common_power_mw == 25
    plan_at_once(session, day, plan_day)
    table = table_of(session, day)
    assert (table.levels[0].is_chosen, table.is_wished) == (True, True)
    warnings = standing(session, day).draft.snapshot["warnings"]
    assert warnings[0].startswith(
        "Rook cannot go below 200 mW, above the common 25 mW: that costs the others "
    )
    choose(session, day, "auto")
    choose(session, day, "auto")
    assert settings_of(day).common_power_mw == "auto"
    told = [
        entry.text for entry in logbook.newest_first(session, day.id, 9) if entry.action == "power chosen"
    ]
    assert told == ["The planner chooses the power.", "The common power is 25 mW."]


@pytest.mark.parametrize("text", ["", "50", "25 mW", "-1", "nan"])
def test_what_is_no_level_is_refused_with_those_there_are(session, day, text):
    with pytest.raises(InputError) as caught:
        choose(session, day, text)
    assert "is no level of this day: choose 25, 200, 600 or auto." in caught.value.faults["common_power_mw"]


def test_a_power_set_by_hand_shows_at_once(session, day):
    plan_at_once(session, day, plan_day)
    wren = next(i for i, one in standing(session, day).draft.basis.pilots.items() if one.callsign == "Wren")
    edit(session, day, lambda content, basis: edits.set_power(content, basis, wren, 600.0))
    warnings = standing(session, day).draft.snapshot["warnings"]
    assert warnings[0].startswith("Wren is set to 600 mW, above the common 200 mW: that costs the others ")


def test_steps_above_the_rules_are_no_levels_and_are_told(session):
    facts = (
        '{"key": "own", "name": "Test rules", "ranges": [[5650, 5925, 25]], "tested_width": "occupied", '
        '"most_transmitters": null, "licence_needed": false, "conditions": "", "source": "test", "year": 2026, '
        '"tag": "own"}'
    )
    day = make_day(session, rule_set_json=facts)
    for callsign in ("Wren", "Otter"):
        make_pilot(session, day, callsign, tunes="R", power_mw="25 200")
    plan_at_once(session, day, plan_day)
    table = table_of(session, day)
    assert [level.common_mw for level in table.levels] == [25]
    assert table.not_tried == "Above what Test rules allows, so not tried: 200 mW (Wren and Otter)."
