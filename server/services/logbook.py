from dataclasses import dataclass

from sqlmodel import Session

from server.services.errors import NotFoundError
from server.storage import days, logbook
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
    day = days.by_code(session, day_code)
    if day is None or day.id is None:
        raise NotFoundError(f"There is no field day with the code {day_code}.")
    found = logbook.newest_first(session, day.id, ENTRIES_ON_A_PAGE + 1, before)
    entries = found[:ENTRIES_ON_A_PAGE]
    return LogbookPage(day, entries, entries[-1].id if len(found) > len(entries) else None)
