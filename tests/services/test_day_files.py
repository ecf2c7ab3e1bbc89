"""A day as one file: all of it, the same on the next machine, and nothing of a file that is not sound."""

import gzip
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.services import day_files, day_imports
from server.services.day_file_rows import DayContent, DayRow
from server.services.day_files import SCHEMA_FILE, FaultyDayFileError
from server.storage import day_rows, logbook
from server.storage.session import Database
from server.storage.tables import FieldDay
from tests.factories import FIRST_CLUB, NOW, make_pilot
from tests.full_day import full_day, pilot_of


@pytest.fixture(scope="module")
def kept() -> dict[str, bytes]:
    return {}


@pytest.fixture
def exported(data_file, kept) -> bytes:
    """A full day as a file, made once, in a data file of its own."""
    if "file" not in kept:
        other = data_file.with_name("other.sqlite")
        other.write_bytes(data_file.read_bytes())
        database = Database(other)
        with database.write() as session:
            code = full_day(session).code
        with database.read() as session:
            kept["file"] = day_files.export(session, code)
        database.close()
    return kept["file"]


def bring_in(session, data: bytes) -> day_imports.BroughtIn:
    return day_imports.bring_in(session, FIRST_CLUB, day_files.read(data, "day.json"), "day.json", NOW)


def content_of(data: bytes) -> dict:
    return json.loads(data)["content"]


def written(content, **head) -> bytes:
    """A file with this content and its own checksum."""
    usual = {"format": "bandstand field day", "version": 1, "sha256": day_files._sha256(content)}
    return json.dumps(usual | head | {"content": content}).encode()


def test_a_full_day_has_something_of_every_kind(exported):
    assert [part for part, rows in content_of(exported).items() if not rows] == []


def test_an_empty_machine_gets_the_day_to_the_letter(session, exported):
    brought = bring_in(session, exported)
    assert (brought.code_before, brought.new_links) == ("", ())
    assert day_files.export(session, brought.day.code) == exported


def test_no_column_of_a_day_is_left_out_but_its_own_number():
    for name, table in {"day": FieldDay, **day_rows.TABLES}.items():
        model = DayRow if name == "day" else day_files.row_model_of(name)[0]
        assert set(table.__table__.columns.keys()) - set(model.model_fields) <= {
            "id",
            "field_day_id",
            "club_id",
        }, name


def test_every_table_of_a_day_is_in_the_file():
    left_out = {"job", "field_day"}  # what is being computed is not moved
    of_a_day = {
        name
        for name, table in FieldDay.metadata.tables.items()
        if any(key.column.table.name in ("field_day", "pilot", "call") for key in table.foreign_keys)
    }
    assert of_a_day - left_out == {table.__tablename__ for table in day_rows.TABLES.values()}
    assert set(day_rows.TABLES) | {"day"} == set(DayContent.model_fields)


def test_the_schema_is_what_the_code_reads():
    now = json.dumps(day_files.schema(), indent=1) + "\n"
    assert SCHEMA_FILE.read_text("utf-8") == now, "write it anew: python3 -m server dev tests.day_file_schema"


class TestBesideOtherDays:
    @pytest.fixture
    def there(self, session):
        """A machine with a day of its own, whose numbers are those of the file."""
        return full_day(session)

    def test_it_differs_from_the_file_by_its_numbers_alone_wherever_they_stand(
        self, session, there, exported
    ):
        day = bring_in(session, exported).day
        now, before = content_of(day_files.export(session, day.code)), content_of(exported)
        assert day.code == before["day"]["code"]
        further = {part: now[part][0]["id"] - rows[0]["id"] for part, rows in before.items() if has_ids(rows)}
        assert min(further.values()) > 0
        now["flight_line"]["last_step_json"] = before["flight_line"]["last_step_json"]
        found = list(differences("", before, now))
        assert {where for where, _, _ in found} >= {
            *("pilots.id", "aircraft.pilot_id", "pilots.flying_aircraft_id", "call_slots.call_id"),
            *("logbook.data_json.pilot_id", "logbook.data_json.turn_id", "picture_checks.gear"),
            *(
                "published_plans.snapshot_json.heats.slots.pilot_id",
                "draft.content_json.heats.slots.pilot_id",
            ),
        }
        for where, old, new in found:
            part = where.partition(".")[0] if where.endswith(".id") else PARTS[where.rpartition(".")[2]]
            assert new == old + further[part], where

    def test_a_code_and_links_that_are_taken_are_made_anew_and_told(self, session, there, exported):
        first = bring_in(session, exported)
        second = bring_in(session, exported)
        assert second.code_before == first.day.code != second.day.code
        assert set(second.new_links) == {"Zaunkönig", "Otter", "Rook", "Quill"}
        assert f"so this one has {second.day.code}" in second.words()
        kept, renewed = (pilot_of(session, day, "Rook").link_token for day in (first.day, second.day))
        assert kept == next(
            one["link_token"] for one in content_of(exported)["pilots"] if one["callsign"] == "Rook"
        )
        assert renewed != kept

    def test_pilots_who_come_later_get_numbers_of_their_own(self, session, there, exported):
        day = bring_in(session, exported).day
        taken = {row.id for row in day_rows.of_day(session, day.id, "pilots")}
        assert make_pilot(session, day, "Late").id > max(taken)


PARTS = {
    "pilot_id": "pilots",
    "aircraft_id": "aircraft",
    "flying_aircraft_id": "aircraft",
    "gear": "aircraft",
    "call_id": "calls",
    "slot_id": "call_slots",
    "turn_id": "turns",
    "clearance_id": "clearances",
    "report_id": "trouble_reports",
    "down_id": "down_transmitters",
    "signal_id": "outside_signals",
    "check_id": "picture_checks",
}


def has_ids(rows) -> bool:
    return isinstance(rows, list) and "id" in rows[0]


def differences(where, old, new):
    """Every place at which two JSON values differ, also inside JSON as text and marks of gear."""
    name = where.rpartition(".")[2]
    if isinstance(old, str) and (name.endswith("_json") or (name == "before" and old.startswith("{"))):
        old, new = json.loads(old), json.loads(new)
    if name == "gear" and old:
        old, new = (int(mark.partition(".")[0]) for mark in (old, new))
    if isinstance(old, dict):
        assert old.keys() == new.keys(), where
        for key, value in old.items():
            yield from differences(f"{where}.{key}".lstrip("."), value, new[key])
    elif isinstance(old, list):
        for one, other in zip(old, new, strict=True):
            yield from differences(where, one, other)
    elif old != new:
        yield where, old, new


def test_numbers_far_ahead_do_not_use_up_those_to_come(session, exported):
    content = content_of(exported)
    far = {one["id"]: one["id"] + 2_000_000_000 for one in content["outside_signals"]}
    content["outside_signals"] = [one | {"id": far[one["id"]]} for one in content["outside_signals"]]
    day = bring_in(session, written(content)).day
    assert [row.id for row in day_rows.of_day(session, day.id, "outside_signals")] == [1]


def test_the_history_that_came_is_guarded(database, exported):
    with database.write() as session:
        bring_in(session, exported)
    for change in ("UPDATE published_plan SET number = 9", "DELETE FROM logbook_entry"):
        with pytest.raises(Exception, match=r"never changes|only grows"), database.write() as session:
            session.connection().exec_driver_sql(change)


def test_bringing_in_stands_in_the_logbook_of_the_machine(session, exported):
    brought = bring_in(session, exported)
    newest = logbook.newest_first(session, brought.day.id, 1)[0]
    assert (newest.field_day_id, newest.action, newest.text) == (None, "day brought in", brought.words())


def test_a_file_may_be_compressed(session, exported):
    assert bring_in(session, gzip.compress(exported)).day.name == "Tern Meadow club day"


def refusal(session, data: bytes) -> str:
    with pytest.raises(FaultyDayFileError) as refused:
        bring_in(session, data)
    return str(refused.value)


class TestRefused:
    @pytest.mark.parametrize(
        "data",
        [
            b"\xff\xfe\x00",
            b"[1, 2]",
            b"17",
            b'{"format": "songs"}',
            b"[" * 100_000,
            b'{"version": %s}' % (b"9" * 5000),
        ],
        ids=["bytes", "a list", "a number", "another format", "brackets", "figures"],
    )
    def test_what_is_not_ours(self, session, data):
        assert refusal(session, data) == (
            "“day.json” is no field day of Bandstand: choose a file that an export wrote."
        )

    def test_a_part_of_a_file(self, session, exported):
        assert "it is not JSON at line 1, character 1." in refusal(session, b"")
        assert "or only a part of one: it is not JSON at line " in refusal(
            session, exported[: len(exported) // 2]
        )
        assert "is damaged: it cannot be unpacked" in refusal(session, gzip.compress(exported)[:-400])

    def test_a_newer_version(self, session, exported):
        assert refusal(session, written(content_of(exported), version=2)) == (
            "“day.json” was written by a newer Bandstand (file version 2; this one reads up to 1): "
            "bring it in with that one."
        )
        far_ahead = refusal(session, written({}, version=10**4000))
        assert "(file version above a million; this one reads up to 1)" in far_ahead
        assert "because of version: a whole number" in refusal(session, written({}, version="1"))
        assert "because of version: a whole number" in refusal(session, written({}, version=0))

    def test_one_changed_figure(self, session, exported):
        changed = exported.replace(b'"aircraft": 2', b'"aircraft": 3')
        assert changed != exported
        assert "it was damaged or changed by hand" in refusal(session, changed)

    def test_too_large_also_once_unpacked(self, session):
        large = b" " * (day_files.LARGEST_MIB * 2**20 + 1)
        assert "is larger than 64 MiB" in refusal(session, large)
        assert "is larger than 64 MiB" in refusal(session, gzip.compress(large))
        assert "it is not JSON" in refusal(session, large[1:])

    @pytest.mark.parametrize(
        ("part", "change", "words"),
        [
            ("pilots", {"state": "lost"}, "content, pilots, 1, state"),
            ("pilots", {"callsign": "Rook\0"}, "content, pilots, 1, callsign"),
            ("pilots", {"callsign_key": "wren"}, "content, pilots, 1, callsign_key: this is not the key"),
            ("pilots", {"songs": 3}, "content, pilots, 1, songs: Extra inputs"),
            ("aircraft", {"id": 0}, "content, aircraft, 1, id"),
            ("aircraft", {"pilot_id": 99}, "pilot_id: there is no row with the number 99"),
            ("calls", {"called_at": "2026-05-16T09:30:00"}, "content, calls, 1, called_at"),
            ("turns", {"mhz": 2**31}, "content, turns, 1, mhz"),
            (
                "published_plans",
                {"snapshot_json": "{"},
                "content, published_plans, 1, snapshot_json: Value error",
            ),
            ("published_plans", {"snapshot_json": "{}"}, "Bandstand could not show this day (KeyError)"),
            (
                "logbook",
                {"data_json": "NaN"},
                "content, logbook, 1, data_json: Value error, this is not JSON",
            ),
        ],
    )
    def test_a_row_that_cannot_be(self, session, exported, part, change, words):
        content = content_of(exported)
        content[part][0] |= change
        said = refusal(session, written(content))
        assert words.removeprefix("content, ") in said
        assert said.endswith("Nothing was changed.")

    def test_rows_that_contradict_each_other(self, session, exported):
        content = content_of(exported)
        content["pilots"][1]["link_token"] = content["pilots"][0]["link_token"]
        assert "because of content: " in refusal(session, written(content))

    def test_a_day_that_cannot_be(self, session, exported):
        content = content_of(exported)
        content["day"]["time_zone"] = "Europe/Dubin"
        assert "day, time_zone: Value error, this is not a time zone" in refusal(session, written(content))
        content["day"] |= {"time_zone": "UTC", "settings_json": '{"rest_heats": "many"}'}
        assert "could not show this day (ValidationError)" in refusal(session, written(content))


def rows_everywhere(database) -> dict[str, int]:
    with database.read() as session:
        return {
            table.name: session.connection()
            .exec_driver_sql(f"SELECT count(*) FROM {table.name}")
            .scalar_one()
            for table in FieldDay.metadata.sorted_tables
        }


class Places:
    """Every place in a JSON value: to change one, whatever it is."""

    def __init__(self, value):
        self.all = list(self._of(value))

    def _of(self, value):
        keys = value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
        for key in keys:
            yield value, key
            yield from self._of(value[key])


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.just([]),
    st.just({}),
    st.just("\0"),
)


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(at=st.integers(min_value=0), odd=ODD, how=st.sampled_from(["put", "remove", "bytes"]))
def test_whatever_is_odd_in_a_file_is_told_and_changes_nothing(database, exported, at, odd, how):
    before = rows_everywhere(database)
    if how == "bytes":
        place = at % len(exported)
        data = exported[:place] + str(odd).encode("utf-8", "replace")[:4] + exported[place + 1 :]
    else:
        content = content_of(exported)
        places = Places(content).all
        inside, key = places[at % len(places)]
        if how == "put":
            inside[key] = odd
        else:
            del inside[key]
        data = written(content)
    with pytest.raises((FaultyDayFileError, _TakenAsItIsError), match=r"day\.json"):
        bring_in_and_take_back(database, data)
    assert rows_everywhere(database) == before


class _TakenAsItIsError(Exception):
    """The change was one that a day may have."""


def bring_in_and_take_back(database, data: bytes) -> None:
    with database.write() as session:
        bring_in(session, data)
        raise _TakenAsItIsError("day.json is a day all the same")
