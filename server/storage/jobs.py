"""Jobs that all server processes on one database can see."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from server.storage.tables import RUNNING, StoredJob


def add(session: Session, field_day_id: int, kind: str, at: datetime) -> StoredJob:
    """A running job in place of the last of its kind; the caller has seen that none runs."""
    session.exec(
        delete(StoredJob).where(col(StoredJob.field_day_id) == field_day_id, col(StoredJob.kind) == kind)
    )
    job = StoredJob(field_day_id=field_day_id, kind=kind, heard_at=at)
    session.add(job)
    session.flush()
    return job


def by_id(session: Session, job_id: int) -> StoredJob | None:
    return session.get(StoredJob, job_id)


def of_day(session: Session, field_day_id: int) -> Sequence[StoredJob]:
    """One of each kind at most, in the order they were started."""
    own = select(StoredJob).where(col(StoredJob.field_day_id) == field_day_id)
    return session.exec(own.order_by(col(StoredJob.id))).all()


def forget(session: Session, field_day_id: int, kind: str) -> None:
    """Drop the ended job of this kind; a running one stays."""
    session.exec(
        delete(StoredJob).where(
            col(StoredJob.field_day_id) == field_day_id,
            col(StoredJob.kind) == kind,
            col(StoredJob.state) != RUNNING,
        )
    )


def forget_day(session: Session, field_day_id: int) -> None:
    """All of a day's, whatever they said."""
    session.exec(delete(StoredJob).where(col(StoredJob.field_day_id) == field_day_id))
