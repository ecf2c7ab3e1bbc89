"""What the database itself refuses: a changed published plan, a changed or shortened logbook."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from server.storage import published_plans
from server.storage.session import Database
from tests.factories import NOW, make_day, make_logbook_entry, make_published_plan

PLAN_NEVER_CHANGES = "a published plan never changes"
LOGBOOK_ONLY_GROWS = "the logbook only grows"


@pytest.mark.parametrize(
    ("statement", "reason"),
    [
        ("UPDATE published_plan SET snapshot_json = '[]'", PLAN_NEVER_CHANGES),
        ("UPDATE published_plan SET number = 2", PLAN_NEVER_CHANGES),
        ("DELETE FROM published_plan", PLAN_NEVER_CHANGES),
        ("UPDATE logbook_entry SET text = 'Nothing happened.'", LOGBOOK_ONLY_GROWS),
        ("DELETE FROM logbook_entry", LOGBOOK_ONLY_GROWS),
    ],
)
def test_history_is_refused_a_change(database, statement, reason):
    refuses(database, statement, reason)


@pytest.mark.parametrize(
    ("table", "reason"), [("published_plan", PLAN_NEVER_CHANGES), ("logbook_entry", LOGBOOK_ONLY_GROWS)]
)
def test_sqlites_way_round_is_closed_too(data_file, table, reason):
    database = Database(data_file)
    refuses(database, f"REPLACE INTO {table} SELECT * FROM {table}", reason)
    database.close()


def refuses(database, statement, reason):
    with database.write() as session:
        day = make_day(session)
        make_published_plan(session, day)
        make_logbook_entry(session, day)
    with pytest.raises(IntegrityError, match=reason), database.write() as session:
        session.connection().execute(text(statement))


def test_a_published_plan_is_read_back_to_the_letter(database):
    snapshot = '{"margin_db": -0.59,  "callsign": "Žluva \\u2708"}'
    with database.write() as session:
        day_id = make_day(session).id
        published_plans.publish(session, day_id, snapshot, "1", NOW, "director")
    with database.read() as session:
        assert published_plans.latest(session, day_id).snapshot_json == snapshot
