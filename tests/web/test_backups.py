"""Backups seen from the pages: a publish makes one, and trouble with them stands on the director's pages only."""

import pytest

from server.services.backups import BackupKeeper
from server.services.standings import standing
from tests.services.planned_days import day_with_pilots, plan_at_once


@pytest.fixture
def wishes(app, monkeypatch) -> list[str]:
    heard: list[str] = []
    monkeypatch.setattr(app.state.backups, "soon", lambda: heard.append("soon"))
    return heard


def test_each_publish_wishes_for_one(director, database, wishes):
    with database.write() as session:
        day = day_with_pilots(session)
        plan_at_once(session, day)
        draft = standing(session, day).draft
    press = {"version": draft.version, "seen": draft.seen, "answers_for": "yes"}
    assert director.post(f"/days/{day.code}/plan/publish", data={**press, "version": 99}).status_code == 409
    assert wishes == []
    assert director.post(f"/days/{day.code}/plan/publish", data=press).status_code == 303
    assert wishes == ["soon"]


def test_trouble_stands_on_the_directors_pages_and_on_no_public_one(director, app, database):
    with database.write() as session:
        day = day_with_pilots(session)
    app.state.backups.trouble = "No backup was made at 09:30: the stick is full."
    assert "the stick is full" in director.get(f"/days/{day.code}/logbook").text
    assert "the stick is full" in director.get("/days").text
    assert "the stick is full" not in director.get(f"/board/{day.code}").text
    app.state.backups.trouble = ""
    assert "No backup" not in director.get("/days").text


def test_the_keeper_reads_the_settings(app, settings):
    keeper: BackupKeeper = app.state.backups
    assert (keeper._folder, keeper._kept, keeper._every_s) == (settings.data / "backups", 20, 600)
