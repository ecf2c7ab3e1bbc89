"""The demonstration day is a day like any other, and made once."""

import json
from datetime import UTC, datetime

from server.services.demo import CODE, make_demo
from server.storage import pilots, published_plans
from server.storage.days import by_code
from server.storage.session import Database

NOW = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)


def test_demo_has_eighteen_pilots_in_nine_flyable_heats(database: Database) -> None:
    demo = make_demo(database, NOW)
    with database.read() as session:
        day = by_code(session, CODE)
        assert day is not None
        assert day.id is not None
        assert len(pilots.of_day(session, day.id)) == 18
        plan = published_plans.latest(session, day.id)
        assert plan is not None
        snapshot = json.loads(plan.snapshot_json)
    assert (demo.code, set(demo.link_tokens)) == (CODE, {"Wren", "Umber"})
    assert [len(heat["slots"]) for heat in snapshot["heats"]] == [6] * 9
    assert all(slot["picture_grade"] >= 4.5 for heat in snapshot["heats"] for slot in heat["slots"])
    assert snapshot["retunes"] == 0


def test_demo_is_made_once_and_keeps_what_was_changed(database: Database) -> None:
    first = make_demo(database, NOW)
    with database.write() as session:
        day = by_code(session, CODE)
        assert day is not None
        day.name = "Changed by hand"
    assert make_demo(database, NOW) == first
    with database.read() as session:
        kept = by_code(session, CODE)
        assert kept is not None
        assert kept.name == "Changed by hand"
