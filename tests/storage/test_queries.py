import json
from datetime import date, timedelta

import pytest

from server.storage import access, days, drafts, logbook, pilots, published_plans
from server.storage.tables import CHECKED_IN, WITHDRAWN
from tests.factories import (
    NOW,
    make_aircraft,
    make_day,
    make_draft,
    make_logbook_entry,
    make_pilot,
    make_published_plan,
)


@pytest.fixture
def session(database):
    with database.write() as session:
        yield session


def test_days_come_with_the_latest_date_first(session):
    may, june = make_day(session, date=date(2026, 5, 1)), make_day(session, date=date(2026, 6, 1))
    april = make_day(session, date=date(2026, 4, 1))
    assert days.newest_first(session) == [june, may, april]


def test_the_current_day_is_the_one_made_last_and_not_archived(session):
    assert days.current(session) is None
    first = make_day(session)
    make_day(session, archived_at=NOW)
    assert days.current(session) == first


def test_a_day_is_found_by_its_code(session):
    day = make_day(session, code="tern")
    assert days.by_code(session, "tern") == day
    assert days.by_code(session, "wren") is None


def test_pilots_come_in_the_order_they_came_and_by_state(session):
    day = make_day(session)
    wren, rook = make_pilot(session, day, "Wren"), make_pilot(session, day, "Rook", state=WITHDRAWN)
    make_pilot(session, make_day(session), "Otter")
    assert pilots.of_day(session, day.id) == [wren, rook]
    assert pilots.of_day(session, day.id, [CHECKED_IN]) == [wren]


def test_a_pilot_of_another_day_is_not_found(session):
    day, other = make_day(session), make_day(session)
    wren = make_pilot(session, day, "Wren", join_id="j1", link_token="t1")
    assert pilots.by_id(session, day.id, wren.id) == wren
    assert pilots.by_id(session, other.id, wren.id) is None
    assert pilots.by_callsign_key(session, day.id, "wren") == wren
    assert pilots.by_callsign_key(session, other.id, "wren") is None
    assert pilots.by_join_id(session, day.id, "j1") == wren
    assert pilots.by_join_id(session, other.id, "j1") is None
    assert pilots.by_link_token(session, "t1") == wren


def test_aircraft_come_by_pilot_with_the_main_one_first(session):
    day = make_day(session)
    wren, rook = make_pilot(session, day, "Wren"), make_pilot(session, day, "Rook")
    make_aircraft(session, wren, name="spare 2", position=2)
    make_aircraft(session, wren, name="spare 1", position=1)
    make_pilot(session, make_day(session), "Otter")
    by_pilot = pilots.aircraft_of_day(session, day.id)
    assert {key: [one.name for one in own] for key, own in by_pilot.items()} == {
        wren.id: ["main", "spare 1", "spare 2"],
        rook.id: ["main"],
    }
    assert by_pilot[wren.id] == pilots.aircraft_of(session, wren.id)


def test_a_day_has_one_draft(session):
    day = make_day(session)
    assert drafts.of_day(session, day.id) is None
    draft = make_draft(session, day)
    assert drafts.of_day(session, day.id) == draft
    drafts.remove(session, draft)
    assert drafts.of_day(session, day.id) is None


def test_published_plans_are_numbered_by_day(session):
    day, other = make_day(session), make_day(session)
    make_published_plan(session, day)
    make_published_plan(session, other)
    second = make_published_plan(session, day, '{"heats": []}')
    assert (second.number, second.replaces_number) == (2, 1)
    assert published_plans.latest(session, day.id) == second
    assert published_plans.numbered(session, day.id, 1).replaces_number is None
    assert published_plans.numbered(session, day.id, 3) is None
    assert [plan.number for plan in published_plans.newest_first(session, day.id)] == [2, 1]


def test_the_logbook_is_paged_newest_first_with_what_concerns_the_machine(session):
    day, other = make_day(session), make_day(session)
    own = [make_logbook_entry(session, day, f"Row {n}.") for n in range(5)]
    make_logbook_entry(session, other, "Not ours.")
    machine = make_logbook_entry(session, None, "New pass phrase.")
    first = logbook.newest_first(session, day.id, limit=3)
    assert first == [machine, own[4], own[3]]
    assert logbook.newest_first(session, day.id, limit=3, before_id=first[-1].id) == [own[2], own[1], own[0]]


def test_a_logbook_row_keeps_its_facts(session):
    day = make_day(session)
    logbook.append(session, day.id, "desk", "pilot added", "Zoë came.", {"callsign": "Zoë"}, NOW)
    entry = logbook.newest_first(session, day.id, 1)[0]
    assert json.loads(entry.data_json) == {"callsign": "Zoë"}


def test_a_logbook_row_refuses_not_a_number(session):
    with pytest.raises(ValueError, match="JSON compliant"):
        logbook.append(session, None, "desk", "a", "b", {"margin_db": float("nan")}, NOW)


def test_a_new_secret_takes_the_place_of_the_old(session):
    assert access.secret(session) is None
    access.replace_secret(session, b"salt", b"hash", "{}", NOW)
    access.replace_secret(session, b"salt 2", b"hash 2", "{}", NOW)
    assert access.secret(session).hash == b"hash 2"


def test_a_session_ends_by_time_or_by_being_revoked(session):
    for token in ("one", "two", "three"):
        access.add_session(session, token, NOW, NOW + timedelta(hours=1))
    assert access.live_session(session, "one", NOW) is not None
    assert access.live_session(session, "one", NOW + timedelta(hours=1)) is None
    access.revoke_session(session, "one", NOW)
    assert access.live_session(session, "one", NOW) is None
    assert access.live_session(session, "two", NOW) is not None
    access.revoke_all_sessions(session, NOW)
    assert access.live_session(session, "two", NOW) is None


def test_failed_sign_ins_are_kept_by_address_until_forgotten(session):
    for minutes, address in ((0, "10.0.0.1"), (5, "10.0.0.1"), (5, "10.0.0.2")):
        access.add_failure(session, address, NOW + timedelta(minutes=minutes))
    assert [one.at for one in access.failures(session, "10.0.0.1")] == [NOW, NOW + timedelta(minutes=5)]
    access.forget_failures(session, NOW)
    assert [one.at for one in access.failures(session, "10.0.0.1")] == [NOW + timedelta(minutes=5)]
    access.forget_failures_of(session, "10.0.0.1")
    assert access.failures(session, "10.0.0.1") == []
    assert len(access.failures(session, "10.0.0.2")) == 1
