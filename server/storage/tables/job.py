from datetime import datetime

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, only_where

RUNNING = "running"


class StoredJob(SQLModel, table=True):
    """A computation that one of several server processes does for a day, for all of them to see.

    heard_at   when its process last told that it is still at it
    """

    __tablename__ = "job"
    __table_args__ = (
        Index("uq_job_running", "field_day_id", unique=True, **only_where(f"state = '{RUNNING}'")),
        NEVER_REUSE_IDS,
    )

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    kind: str
    state: str = RUNNING
    progress_json: str = ""
    result_json: str = ""
    error: str = ""
    is_cancel_wished: bool = False
    heard_at: datetime
