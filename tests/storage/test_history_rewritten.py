"""Names taken out of a day: nowhere in the rows, nowhere in the bytes, and the guards of history are back."""

import json
from datetime import timedelta

import pytest
from sqlalchemy.exc import DBAPIError

from server.services import day_files, erasing, pilot_files, pilots, plans
from server.services.errors import NotFoundError, RefusedError
from server.services.roster_rows import pilot_text
from server.services.stale_forms import Form
from server.storage import backups, calls, days, history, logbook
from tests.factories import NOW
from tests.full_day import FIRST, full_day, pilot_of
from tests.services.changed_days import published_day

LATER = NOW + timedelta(hours=1)
NAMES = (FIRST, FIRST.casefold(), FIRST.upper(), "Ida Example", "EI0EXAMPLE", "Goldcrest")


@pytest.fixture
def code(database) -> str:
    """A full day on which the first pilot flew under another callsign before."""
    with database.write() as session:
        day = full_day(session)
        pilot = pilot_of(session, day, FIRST)
        for callsign in ("Goldcrest", FIRST):
            before = pilot_text(pilot)
            form = Form(before | {"callsign": callsign}, before, pilot.version)
            pilots.edit(session, day, pilot, form, "desk", NOW)
        return day.code


def exported(database, code: str) -> str:
    with database.read() as session:
        return day_files.export(session, code).decode()


def erase(database, code: str, callsign: str = FIRST) -> str:
    with database.write() as session:
        day = days.by_code(session, code)
        return erasing.erase(session, code, pilot_of(session, day, callsign).id, LATER)


def test_the_name_is_nowhere_in_the_day_and_the_figures_stay(database, code):
    before = exported(database, code)
    assert FIRST in before
    assert erase(database, code) == "Pilot 2"
    after = exported(database, code)
    assert [name for name in NAMES if name in after] == []
    was, now = (
        [
            [(slot["pilot_id"], slot["mhz"], slot["margin_db"]) for slot in heat["slots"]]
            for plan in json.loads(text)["content"]["published_plans"]
            for heat in json.loads(plan["snapshot_json"])["heats"]
        ]
        for text in (before, after)
    )
    assert was == now
    content = json.loads(after)["content"]
    assert '"callsign": "Pilot 2"' in content["published_plans"][0]["snapshot_json"]
    rook = next(one for one in content["pilots"] if one["callsign"] == "Rook")
    assert rook["spotter"] == "Pilot 2"


def test_the_bytes_of_the_data_file_and_of_a_new_backup_hold_it_nowhere(database, code, place, tmp_path):
    if isinstance(place, str):
        assert erase(database, code)
        return  # PostgreSQL's own files are its keeper's
    names = [name.encode() for name in (FIRST, "Ida Example", "EI0EXAMPLE", "Goldcrest")]
    names += [FIRST.encode("ascii", "backslashreplace").replace(b"\\xf6", b"\\u00f6")]
    old = backups.make(place, tmp_path / "backups", 5, NOW)
    assert names[0] in old.read_bytes()
    erase(database, code)
    database.forget()
    new = backups.make(place, tmp_path / "backups", 5, LATER)
    for file in (place, place.with_name(place.name + "-wal"), new):
        content = file.read_bytes() if file.exists() else b""
        assert [name for name in names if name in content] == [], file.name


def test_history_is_guarded_again_and_says_that_a_name_was_taken_out(database, code):
    erase(database, code)
    with database.read() as session:
        entry = logbook.newest_first(session, days.by_code(session, code).id, 1)[0]
        assert (entry.action, entry.text, entry.at) == (
            "pilot erased",
            "Took a name out of this day: Pilot 2.",
            LATER,
        )
    for change in (
        "UPDATE published_plan SET number = 9",
        "DELETE FROM published_plan",
        "UPDATE logbook_entry SET text = ''",
        "DELETE FROM logbook_entry",
    ):
        with pytest.raises(DBAPIError, match=r"never changes|only grows"), database.write() as session:
            session.connection().exec_driver_sql(change)


def test_what_fails_half_way_leaves_names_and_guards_as_they_were(database, code, monkeypatch):
    before = exported(database, code)

    def fail(*_arguments):
        raise ZeroDivisionError

    monkeypatch.setattr(history, "rewrite", fail)
    with pytest.raises(ZeroDivisionError):
        erase(database, code)
    assert exported(database, code) == before
    with pytest.raises(DBAPIError, match="never changes"), database.write() as session:
        session.connection().exec_driver_sql("UPDATE published_plan SET number = 9")


def test_the_private_link_is_void_and_the_pilot_keeps_gear_and_state(database, code):
    with database.read() as session:
        before = pilot_of(session, days.by_code(session, code), FIRST)
    erase(database, code)
    with database.read() as session:
        after = pilot_of(session, days.by_code(session, code), "Pilot 2")
    assert after.link_token != before.link_token
    assert (after.id, after.state, after.flying_aircraft_id) == (
        before.id,
        before.state,
        before.flying_aircraft_id,
    )
    assert (after.name, after.note, after.station_id, after.spotter, after.join_id) == ("", "", "", "", None)


def test_nobody_is_taken_out_who_may_be_on(database, code):
    with pytest.raises(RefusedError, match="Not while a transmitter may be on"):
        erase(database, code, "Rook")
    with pytest.raises(RefusedError), database.write() as session:
        erasing.archive_without_names(session, code, LATER)
    with pytest.raises(NotFoundError), database.write() as session:
        erasing.erase(session, code, 99, LATER)


def test_a_number_that_somebody_flies_under_is_not_given_twice(database, code):
    with database.write() as session:
        other = pilot_of(session, days.by_code(session, code), "Otter")
        other.callsign, other.callsign_key = "Pilot 2", "pilot 2"
    assert erase(database, code) == "Pilot 1002"


def test_a_day_is_archived_without_names(database, code):
    with database.write() as session:
        day = days.by_code(session, code)
        call = calls.live(session, day.id)
        for slot in calls.slots_of(session, call.id):
            slot.stage = "off"
        call.stage = "over"
    with database.write() as session:
        assert erasing.archive_without_names(session, code, LATER) == 4
    after = exported(database, code)
    assert [name for name in (*NAMES, "Otter", "Rook", "Quill") if name in after] == []
    assert json.loads(after)["content"]["day"]["archived_at"] == "2026-05-16T10:30:00Z"


def test_a_pilot_gets_all_that_is_stored_and_nothing_of_others(database, code):
    with database.read() as session:
        day = days.by_code(session, code)
        content = json.loads(pilot_files.export_pilot(session, code, pilot_of(session, day, FIRST).id))
    assert content["pilot"]["name"] == "Ida Example"
    filled = {name for name, rows in content.items() if rows}
    assert filled >= {"aircraft", "turns", "clearances", "call_slots", "bench_ticks", "picture_checks"}
    assert filled >= {"trouble_reports", "down_transmitters", "published_slots", "logbook"}
    assert {slot["callsign"] for slot in content["published_slots"]} == {FIRST}
    assert {row["pilot_id"] for row in content["turns"]} == {content["pilot"]["id"]}


@pytest.mark.parametrize(
    ("text", "after"),
    [
        ("Wren lands.", "Pilot 1 lands."),
        ("WREN's", "Pilot 1's"),
        ("Wrens, Brwren", "Wrens, Brwren"),
        ("(wren)", "(Pilot 1)"),
    ],
)
def test_whole_words_are_replaced_however_they_are_written(text, after):
    assert erasing.replacing({"wren": "Pilot 1"})(text) == after


@pytest.mark.parametrize("callsign", ["R3", "25", "5732"])
def test_a_callsign_that_reads_as_a_channel_or_a_figure_takes_no_channel_with_it(database, callsign):
    with database.write() as session:
        day = published_day(session, callsign, "Otter", "Rook", aircraft=3)
    before = plan_of(database, day)
    erase(database, day.code, callsign)
    after = plan_of(database, day)
    assert [slot["callsign"] for slot in after] == ["Pilot 1", "Otter", "Rook"]
    kept = ("channel", "mhz", "power_mw", "lookalikes", "cause_words")
    assert [[slot[key] for key in kept] for slot in after] == [[slot[key] for key in kept] for slot in before]


def test_what_is_measured_or_tuned_in_a_sentence_is_no_name():
    replaced = erasing.replacing({"r3": "Pilot 1", "25": "Pilot 2", "otter": "Pilot 3"})
    said = "R3 moves from R3 5732 to R4 5769; for 25 nobody knows, 25 mW taken. Otter 200 mW."
    assert replaced(said) == (
        "Pilot 1 moves from R3 5732 to R4 5769; for Pilot 2 nobody knows, 25 mW taken. Pilot 3 200 mW."
    )


def plan_of(database, day):
    with database.read() as session:
        return plans.published_plan(session, day, 1)["heats"][0]["slots"]
