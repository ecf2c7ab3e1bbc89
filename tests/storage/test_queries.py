import json
from datetime import date, timedelta

import pytest

from server.services.access import token_hash
from server.services.roles import DIRECTOR, HELPER
from server.storage import access, clubs, days, drafts, logbook, pilots, published_plans
from server.storage.tables import CHECKED_IN, WITHDRAWN, FailedSignIn, PassPhrase
from tests.factories import (
    FIRST_CLUB,
    NOW,
    make_aircraft,
    make_day,
    make_draft,
    make_logbook_entry,
    make_pilot,
    make_published_plan,
    make_signed_in,
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
    assert days.current(session, FIRST_CLUB) is None
    first = make_day(session)
    make_day(session, archived_at=NOW)
    assert days.current(session, FIRST_CLUB) == first


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


def phrase(role, salt=b"salt", club_id=FIRST_CLUB):
    return PassPhrase(club_id=club_id, role=role, salt=salt, hash=b"hash", parameters="{}", made_at=NOW)


def test_a_new_pass_phrase_takes_the_place_of_its_roles_old_one(session):
    assert access.pass_phrase(session, FIRST_CLUB, DIRECTOR) is None
    for one in (phrase(DIRECTOR), phrase(HELPER), phrase(DIRECTOR, b"salt 2")):
        access.replace_pass_phrase(session, one)
    assert access.pass_phrase(session, FIRST_CLUB, DIRECTOR).salt == b"salt 2"
    assert {one.role for one in access.pass_phrases(session, FIRST_CLUB)} == {DIRECTOR, HELPER}
    assert access.pass_phrases(session, FIRST_CLUB + 1) == []


def test_a_session_ends_by_time_or_by_being_revoked(session):
    for token in ("one", "two", "three"):
        make_signed_in(session, token)
    assert live(session, "one")
    assert access.live_one(session, token_hash("one"), NOW + timedelta(hours=1)) is None
    access.live_one(session, token_hash("one"), NOW).revoked_at = NOW
    session.flush()
    assert not live(session, "one")
    assert live(session, "two")
    access.revoke_all(session, FIRST_CLUB, NOW, kept_token_hash=token_hash("three"))
    assert not live(session, "two")
    assert live(session, "three")


def live(session, token):
    return access.live_one(session, token_hash(token), NOW) is not None


def test_revoking_a_role_or_a_club_leaves_the_others(session):
    other = clubs.add(session, "Curlew Moor", NOW).id
    make_signed_in(session, "director", DIRECTOR)
    make_signed_in(session, "helper", HELPER)
    make_signed_in(session, "elsewhere", DIRECTOR, club_id=other)
    access.revoke_all(session, FIRST_CLUB, NOW, DIRECTOR)
    assert [live(session, token) for token in ("director", "helper", "elsewhere")] == [False, True, True]
    assert [one.role for one in access.live_ones(session, FIRST_CLUB, NOW)] == [HELPER]


def test_a_browser_is_known_to_the_accounts_it_was_signed_in_to(session):
    make_signed_in(session, "one", DIRECTOR, known_hash="known", revoked_at=NOW)
    make_signed_in(session, "two", HELPER, known_hash="known")
    known = {(FIRST_CLUB, DIRECTOR), (FIRST_CLUB, HELPER)}
    assert access.accounts_known_by(session, "known") == known
    assert access.accounts_known_by(session, "another") == set()


def test_failed_sign_ins_are_kept_by_account_and_source_until_forgotten(session):
    later = NOW + timedelta(minutes=5)
    for at, source in ((NOW, "10.0.0.1"), (later, "10.0.0.1"), (later, "10.0.0.2")):
        failure = FailedSignIn(club_id=FIRST_CLUB, role=DIRECTOR, source=source, is_known=False, at=at)
        access.add_failure(session, failure)
    assert [one.at for one in access.failures(session, FIRST_CLUB, DIRECTOR)] == [NOW, later, later]
    assert access.failures(session, FIRST_CLUB, HELPER) == []
    access.forget_failures(session, NOW)
    assert len(access.failures(session, FIRST_CLUB, DIRECTOR)) == 2
    access.forget_failures_of(session, FIRST_CLUB, DIRECTOR, "10.0.0.1")
    assert [one.source for one in access.failures(session, FIRST_CLUB, DIRECTOR)] == ["10.0.0.2"]
    access.forget_failures_of(session, FIRST_CLUB, DIRECTOR)
    assert access.failures(session, FIRST_CLUB, DIRECTOR) == []


def test_each_club_has_its_own_days(session):
    other = clubs.add(session, "Curlew Moor", NOW).id
    ours, theirs = make_day(session), make_day(session, club_id=other)
    assert days.newest_first(session, other) == [theirs]
    assert days.current(session, FIRST_CLUB) == ours
    assert days.newest_first(session) == [theirs, ours]


def test_what_concerns_a_club_stands_in_the_logbook_of_its_days_only(session):
    other = clubs.add(session, "Curlew Moor", NOW).id
    ours, theirs = make_day(session), make_day(session, club_id=other)
    make_logbook_entry(session, None, "New pass phrase.")
    assert [entry.text for entry in logbook.newest_first(session, ours.id, 9)] == ["New pass phrase."]
    assert logbook.newest_first(session, theirs.id, 9) == []
