import json

import pytest

from server.services import board, days
from server.services.errors import NotFoundError
from server.services.standings import standing
from server.storage import published_plans
from server.storage.tables import NO_SHOW, WITHDRAWN
from tests.factories import NOW, make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import make_snapshot, publish
from tests.services.planned_days import day_with_pilots, plan_at_once


@pytest.fixture
def day(session):
    return make_day(session, code="tern", base_url="http://192.168.8.2:8000")


def shown(session, day):
    return board.board_of(session, day.code)


def test_before_a_plan_it_counts_who_is_checked_in_and_says_where_to_check_in(session, day):
    make_pilot(session, day, "Wren")
    make_pilot(session, day, "Otter", state=WITHDRAWN)
    make_pilot(session, day, "Rook", state=NO_SHOW)
    empty = shown(session, day)
    assert (empty.checked_in, empty.plan_number, empty.heats, empty.not_in_plan) == (1, None, (), ())
    assert empty.join_url == "http://192.168.8.2:8000/join/tern"
    assert empty.join_address == "192.168.8.2:8000/join/tern"


def test_without_an_address_for_phones_it_gives_the_path_alone(session):
    assert shown(session, make_day(session, code="wren")).join_address == "/join/wren"


def test_nothing_private_is_on_it(session, day):
    private = {
        "name": "Ada Example",
        "station_id": "EI1XYZ",
        "note": "leaves at three",
        "adult_present": True,
    }
    wren = make_pilot(session, day, "Wren", **private)
    publish(session, day, [[(wren, "R1")]])
    text = repr(shown(session, day))
    assert "Wren" in text
    assert not [word for word in ("Ada", "EI1XYZ", "three", wren.link_token) if word in text]


def test_heats_stand_by_round_in_the_order_of_flying(session, day):
    wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter")
    heats = [[(wren, "R1")], [(otter, "F4")], [(otter, "F4")], [(wren, "R1")]]
    publish(session, day, heats, heats_a_round=2)
    rounds = shown(session, day).rounds
    assert [(one, [heat.number for heat in heats]) for one, heats in rounds] == [(1, [1, 2]), (2, [3, 4])]
    slot = rounds[0][1][1].slots[0]
    assert (slot.callsign, slot.channel, slot.mhz, slot.power_mw) == ("Otter", "F4", 5800, 25)


def test_it_shows_the_latest_plan_with_its_number_and_time(session, day):
    wren = make_pilot(session, day, "Wren")
    publish(session, day, [[(wren, "R1")]])
    publish(session, day, [[(wren, 5801)]])
    latest = shown(session, day)
    assert (latest.plan_number, latest.published_at) == (2, NOW)
    assert (latest.heats[0].slots[0].channel, latest.heats[0].slots[0].mhz) == (None, 5801)


def test_what_was_published_stays_as_it_was_published(session, day):
    wren = make_pilot(session, day, "Wren")
    publish(session, day, [[(wren, "R1")]])
    wren.callsign, wren.callsign_key = "Wren 2", "wren 2"
    session.flush()
    assert shown(session, day).heats[0].slots[0].callsign == "Wren"


@pytest.mark.parametrize("state", [WITHDRAWN, NO_SHOW])
def test_who_has_left_stays_in_place_and_is_marked(session, day, state):
    wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter")
    publish(session, day, [[(wren, "R1"), (otter, "F4")]])
    wren.state = state
    session.flush()
    assert [(slot.callsign, slot.is_out) for slot in shown(session, day).heats[0].slots] == [
        ("Wren", True),
        ("Otter", False),
    ]


def test_who_came_after_the_plan_is_named_beside_it(session, day):
    publish(session, day, [[(make_pilot(session, day, "Wren"), "R1")]])
    make_pilot(session, day, "Quill")
    make_pilot(session, day, "Rook", state=WITHDRAWN)
    make_pilot(session, day, "Coot")
    assert shown(session, day).not_in_plan == ("Quill", "Coot")


def test_other_days_do_not_mix_in(session, day):
    other = make_day(session)
    publish(session, other, [[(make_pilot(session, other, "Wren"), "R1")]])
    make_logbook_entry(session, other)
    assert shown(session, day).checked_in == 0
    assert shown(session, day).plan_number is None


def test_its_order_rises_with_each_entry_of_the_logbook(session, day):
    make_logbook_entry(session, day)
    before = shown(session, day)
    make_logbook_entry(session, day)
    after = shown(session, day)
    assert after.order > before.order
    assert after == before  # nothing to see has changed, so nothing is sent


def test_an_archived_day_says_so(session, day):
    days.archive(session, day.code, NOW)
    assert shown(session, day).is_archived


def test_there_is_no_board_of_an_unknown_day(session):
    with pytest.raises(NotFoundError, match="zzzz"):
        board.board_of(session, "zzzz")


def test_it_reads_plans_as_the_planner_publishes_them(session):
    """Made-up plans of other tests have the facts that a real one has: no page is tried on less."""
    day = day_with_pilots(session, "Wren", "Otter")
    plan_at_once(session, day)
    real = standing(session, day).draft.snapshot
    published_plans.publish(session, day.id, json.dumps(real), "1", NOW, "director")
    made_up = make_snapshot(day, [[(make_pilot(session, day, "Rook"), "R1")]])
    assert set(made_up) == set(real)
    assert set(made_up["day"]) == set(real["day"])
    assert set(made_up["heats"][0]) == set(real["heats"][0])
    assert set(made_up["heats"][0]["slots"][0]) == set(real["heats"][0]["slots"][0])
    assert [slot.callsign for slot in shown(session, day).heats[0].slots] == ["Wren", "Otter"]
