from dataclasses import dataclass

from sqlmodel import Session

from server.services import days
from server.storage import logbook
from server.storage.tables import FieldDay, LogbookEntry

ENTRIES_ON_A_PAGE = 50


@dataclass(frozen=True)
class LogbookPage:
    day: FieldDay
    entries: list[LogbookEntry]
    older_before: int | None
    """Ask again with this to get the next older page; None on the last."""


def page(session: Session, day_code: str, before: int | None = None) -> LogbookPage:
    """What was decided on this day and on the machine, newest first."""
    day = days.day_with(session, day_code)
    assert day.id is not None
    found = logbook.newest_first(session, day.id, ENTRIES_ON_A_PAGE + 1, before)
    entries = found[:ENTRIES_ON_A_PAGE]
    return LogbookPage(day, entries, entries[-1].id if len(found) > len(entries) else None)
