import json
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import or_
from sqlmodel import Session, col, select

from server.storage.tables import FieldDay, LogbookEntry


def append(
    session: Session,
    field_day_id: int | None,
    who: str,
    action: str,
    text: str,
    data: Mapping[str, Any],
    at: datetime,
    club_id: int | None = None,
) -> LogbookEntry:
    """Write one row in the transaction of the change that it tells of.

    `action` is a short verb key ("pilot added"), `text` one sentence for people; without a day it concerns
    the whole club.
    """
    entry = LogbookEntry(
        field_day_id=field_day_id,
        club_id=club_id,
        at=at,
        who=who,
        action=action,
        text=text,
        data_json=json.dumps(data, ensure_ascii=False, allow_nan=False),
    )
    session.add(entry)
    session.flush()
    return entry


def newest_first(
    session: Session, field_day_id: int, limit: int, before_id: int | None = None
) -> list[LogbookEntry]:
    """Entries of the day and of its whole club, older than `before_id` where one is given."""
    club_id = select(FieldDay.club_id).where(col(FieldDay.id) == field_day_id).scalar_subquery()
    about = or_(col(LogbookEntry.field_day_id) == field_day_id, col(LogbookEntry.club_id) == club_id)
    entries = select(LogbookEntry).where(about)
    if before_id is not None:
        entries = entries.where(col(LogbookEntry.id) < before_id)
    return list(session.exec(entries.order_by(col(LogbookEntry.id).desc()).limit(limit)))


def of_actions(session: Session, field_day_id: int, actions: Iterable[str]) -> list[LogbookEntry]:
    """Entries of the day of some kinds, in the order they were written."""
    entries = select(LogbookEntry).where(
        col(LogbookEntry.field_day_id) == field_day_id, col(LogbookEntry.action).in_(list(actions))
    )
    return list(session.exec(entries.order_by(col(LogbookEntry.id))))


def of_machine(session: Session, action: str) -> list[LogbookEntry]:
    """Entries of one kind that are of no day."""
    entries = select(LogbookEntry).where(
        col(LogbookEntry.field_day_id).is_(None), col(LogbookEntry.action) == action
    )
    return list(session.exec(entries.order_by(col(LogbookEntry.id))))


def last_of(
    session: Session, actions: Iterable[str], field_day_id: int | None = None, club_id: int | None = None
) -> LogbookEntry | None:
    """The newest entry of some kinds, of a day or of a whole club."""
    about = (
        col(LogbookEntry.field_day_id) == field_day_id
        if field_day_id
        else col(LogbookEntry.club_id) == club_id
    )
    entries = select(LogbookEntry).where(about, col(LogbookEntry.action).in_(list(actions)))
    return session.exec(entries.order_by(col(LogbookEntry.id).desc()).limit(1)).first()
