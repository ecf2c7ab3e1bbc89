"""A day that is pressed: one press is one transaction with what follows from it, and is accepted or refused."""

import sqlite3
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant
from sqlmodel import Session

from server import paths
from server.services import day_settling, flight_line
from server.services.errors import ServiceError
from server.services.transmitter_words import Word
from server.storage import days, migrate
from server.storage import pilots as stored_pilots
from server.storage.session import Database
from server.storage.tables import FieldDay, Pilot
from tests.attack.busy_field import IN_MEMORY
from tests.attack.day_facts import check_day, check_nobody_is_forgotten, check_plans
from tests.factories import NOW
from tests.services.changed_days import published_day

STEP = timedelta(seconds=30)
CREW = ("Wren", "Otter", "Rook", "Quill", "Teasel", "Umber")

Act = Callable[[Session, FieldDay], Any]
Thing = TypeVar("Thing")

some = st.integers(0, 11)
"""Chooses one of however many there are."""


def one_of(several: Sequence[Thing], number: int) -> Thing:
    return several[number % len(several)]


@cache
def _published() -> bytes:
    """A data file with a published day of six pilots, three and three."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "bandstand.sqlite"
        migrate.upgrade(file, paths.MIGRATIONS)
        database = Database(file)
        with database.write() as session:
            published_day(session, *CREW, aircraft=3)
        database.close()
        return file.read_bytes()


class PressedDay(RuleBasedStateMachine):
    """Six pilots, planned three and three on a day that is published."""

    presses: ClassVar[Counter[str]] = Counter()
    """Over all days: how many were accepted, and how many refused."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = tempfile.TemporaryDirectory(dir=IN_MEMORY)
        file = Path(self._folder.name) / "bandstand.sqlite"
        file.write_bytes(_published())
        self.database = Database(file)
        self._watched = sqlite3.connect(file)
        self.now = NOW
        self.plans: dict[int, str] = {}
        self.words: dict[str, Word] = {}
        self._checked, self._told = 0, 0

    def teardown(self) -> None:
        self._watched.close()
        self.database.close()
        self._folder.cleanup()

    def press(self, act: Act, *, is_offered: bool = False, is_told: bool = True) -> None:
        """One press, in one transaction, with what follows.

        is_offered  a page offers it, so it must not be refused
        is_told     what it changes has a row in the logbook
        """
        self.now += STEP
        version, row = self._version(), self._last_row()
        refused = self._do(act)
        if refused is not None:
            self.presses["refused"] += 1
            assert refused.strip().endswith((".", "?")), refused
            assert self._version() == version, f"refused, and the data changed: {refused}"
            assert not is_offered, f"a page offered it, and it was refused: {refused}"
            return
        self.presses["accepted"] += 1
        if is_told and self._version() != version:
            assert self._last_row() > row, "the data changed without a row in the logbook"

    def _do(self, act: Act) -> str | None:
        """Why it was refused; None where it was done."""
        try:
            with self.database.write() as session:
                day = self._day(session)
                act(session, day)
                day_settling.settle(session, day, self.now)
        except ServiceError as error:
            return str(error)
        return None

    def _version(self) -> int:
        return int(self._watched.execute("PRAGMA data_version").fetchone()[0])

    def _told_since(self, row: int) -> list[tuple[str, str]]:
        """Action and text of each row of the logbook after that."""
        return self._watched.execute("SELECT action, text FROM logbook_entry WHERE id > ?", (row,)).fetchall()

    def _last_row(self) -> int:
        return int(self._watched.execute("SELECT max(id) FROM logbook_entry").fetchone()[0])

    @staticmethod
    def _day(session: Session) -> FieldDay:
        found = days.by_id(session, 1)
        assert found is not None
        return found

    def _pilot(self, session: Session, number: int) -> Pilot:
        return one_of(stored_pilots.of_day(session, 1), number)

    @invariant()
    def what_has_to_hold(self) -> None:
        """Looked at where the data changed."""
        version = self._version()
        if version == self._checked:
            return
        self._checked = version
        with self.database.read() as session:
            day = self._day(session)
            check_plans(session, day, self.plans)
            words, rows = check_day(session, day, self.now), self._last_row()
            walkers = flight_line.line_of(session, day).walkers_since is not None
            check_nobody_is_forgotten(self.words, words, self._told_since(self._told), walkers)
            self.words, self._told = words, rows
