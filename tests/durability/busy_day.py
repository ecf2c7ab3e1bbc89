"""A scripted busy day over HTTP, and what the data file must hold of it.

Three people press at once: one checks pilots in, one publishes plans and makes days, one calls EVERYBODY LAND
and lifts it. Each change has a name of its own by which it is found in the data file.
"""

import itertools
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import httpx

from server import paths
from server.services.standings import standing
from server.storage import migrate
from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.browser.field_server import FieldServer
from tests.factories import make_day
from tests.services.planned_days import day_with_pilots, plan_at_once
from tests.simulated_day.clocked_server import CLOCK_STARTS_AT, TOKEN

CODE = "busy"
COMMAND = "tests.simulated_day.clocked_server"
PATIENCE_S = 60.0

Change = tuple[str, str]
"""What kind it is, and its own name."""


@dataclass
class Day:
    """The presses that are left, and what was answered so far with the moment it was.

    drafts  of each day that waits to be published: its code, the draft's version, what the page showed
    """

    file: Path
    drafts: list[tuple[str, int, str]]
    answered: dict[Change, float] = field(default_factory=dict)
    names: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def note(self, change: Change) -> None:
        self.answered[change] = time.time()


def made(folder: Path, days_to_publish: int) -> Day:
    """A data file with a day to be busy on, and days whose drafts are ready to be published."""
    file = folder / "bandstand.sqlite"
    migrate.upgrade(file, paths.MIGRATIONS)
    database, drafts = Database(file), []
    with database.write() as session:
        make_day(session, code=CODE)
        for _ in range(days_to_publish):
            day = day_with_pilots(session, "Wren", "Otter", aircraft=2, rounds=1)
            plan_at_once(session, day)
            draft = standing(session, day).draft
            drafts.append((day.code, draft.version, draft.seen))
    database.close()
    return Day(file, drafts)


def server_in(folder: Path, command: str = COMMAND) -> FieldServer:
    server = FieldServer(folder, command)
    server.start_patience_s = PATIENCE_S
    server.environment[CLOCK_STARTS_AT] = datetime(2026, 5, 16, 9, tzinfo=UTC).isoformat()
    return server


class Crowd:
    """Three people who press until the server is gone, or they are told to stop."""

    def __init__(self, day: Day, port: int) -> None:
        self._day, self._origin = day, f"http://127.0.0.1:{port}"
        self._is_over = threading.Event()
        self.changed = threading.Semaphore(0)
        self._threads = [
            threading.Thread(target=self._press, args=(presses,), daemon=True)
            for presses in (self._check_in, self._publish, self._land)
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self._is_over.set()
        for thread in self._threads:
            thread.join(PATIENCE_S)
            assert not thread.is_alive()

    def _press(self, presses) -> None:
        options = {"headers": {"Origin": self._origin}, "cookies": {COOKIE: TOKEN}, "timeout": PATIENCE_S}
        with httpx.Client(base_url=self._origin, **options) as client:
            for change, path, form in presses():
                if self._is_over.is_set():
                    return
                try:
                    answer = client.post(path, data=form)
                except httpx.TransportError:
                    return  # it may have happened or not: nobody was told
                assert answer.status_code == 303, (change, answer.status_code, answer.text)
                self._day.note(change)
                self.changed.release()

    def _check_in(self):
        for number in self._day.names:
            yield ("pilot", f"P{number}"), f"/days/{CODE}/pilots", {"line": f"P{number} R 25"}

    def _publish(self):
        while True:
            if self._day.drafts:
                code, version, seen = self._day.drafts.pop()
                press = {"version": version, "seen": seen, "answers_for": "yes"}
                yield ("plan", code), f"/days/{code}/plan/publish", press
            name = f"Day {next(self._day.names)}"
            yield ("day", name), "/days", {"name": name, "date": "2026-05-16", "time_zone": "UTC"}

    def _land(self):
        for number in self._day.names:
            yield (
                ("land", f"Reason {number}."),
                f"/days/{CODE}/line/everybody-land",
                {"reason": f"Reason {number}."},
            )
            yield ("lift", f"after {number}"), f"/days/{CODE}/line/lift", {}


def found(file: Path) -> set[Change]:
    """Every change that the data file holds; lifts are found by number, since they have no words of their own."""
    with closing(sqlite3.connect(file)) as rows:
        changes = {("pilot", one) for (one,) in rows.execute("SELECT callsign FROM pilot")}
        changes |= {("day", one) for (one,) in rows.execute("SELECT name FROM field_day")}
        plans = "SELECT code FROM published_plan JOIN field_day ON field_day.id = field_day_id"
        changes |= {("plan", one) for (one,) in rows.execute(plans)}
        reasons = "SELECT text FROM logbook_entry WHERE action = 'everybody land'"
        changes |= {("land", "Reason " + one.rpartition("Reason ")[2]) for (one,) in rows.execute(reasons)}
        return changes


def lost(day: Day, file: Path, before: float = float("inf")) -> set[Change]:
    """Changes that were answered before the moment and are not in the data file."""
    answered = {change for change, at in day.answered.items() if at < before}
    lifts = {change for change in answered if change[0] == "lift"}
    with closing(sqlite3.connect(file)) as rows:
        lifted = rows.execute(
            "SELECT count(*) FROM logbook_entry WHERE action = 'everybody land lifted'"
        ).fetchone()[0]
    missing = answered - lifts - found(file)
    return missing | ({("lift", f"{len(lifts) - lifted} of {len(lifts)}")} if lifted < len(lifts) else set())


HALVES = {
    "pilots without their row in the logbook": """
        SELECT count(*) FROM pilot JOIN field_day ON field_day.id = pilot.field_day_id
        WHERE code = 'busy' AND pilot.id NOT IN
        (SELECT json_extract(data_json, '$.pilot_id') FROM logbook_entry WHERE action = 'pilot added')""",
    "rows of the logbook without their pilot": """
        SELECT count(*) FROM logbook_entry WHERE action = 'pilot added'
        AND json_extract(data_json, '$.pilot_id') NOT IN (SELECT id FROM pilot)""",
    "pilots without an aircraft that they fly": """
        SELECT count(*) FROM pilot WHERE flying_aircraft_id IS NULL
        OR id IS NOT (SELECT pilot_id FROM aircraft WHERE aircraft.id = flying_aircraft_id)""",
    "plans whose draft does not know of them": """
        SELECT count(*) FROM published_plan LEFT JOIN draft USING (field_day_id)
        WHERE based_on_number IS NOT number""",
    "plans without their row in the logbook": """
        SELECT (SELECT count(*) FROM published_plan)
        - (SELECT count(*) FROM logbook_entry WHERE action = 'plan published')""",
    "days without their row in the logbook": """
        SELECT (SELECT count(*) FROM field_day WHERE name LIKE 'Day %')
        - (SELECT count(*) FROM logbook_entry WHERE action = 'day made')""",
    "an alarm that the logbook does not know": """
        SELECT count(*) FROM flight_line WHERE everybody_land_at IS NOT NULL AND
        (SELECT count(*) FROM logbook_entry WHERE action = 'everybody land')
        <= (SELECT count(*) FROM logbook_entry WHERE action = 'everybody land lifted')""",
}


def faults(file: Path) -> list[str]:
    """What is broken or done by half in the data file."""
    with closing(sqlite3.connect(file)) as rows:
        said = [row[0] for row in rows.execute("pragma integrity_check") if row[0] != "ok"]
        said += [f"points at nothing: {row}" for row in rows.execute("pragma foreign_key_check")]
        return said + [words for words, query in HALVES.items() if rows.execute(query).fetchone()[0] != 0]
