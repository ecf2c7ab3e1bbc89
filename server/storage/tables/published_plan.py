from datetime import datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class PublishedPlan(SQLModel, table=True):
    """A plan as it was published, with every fact it was published with. A trigger refuses any change."""

    __tablename__ = "published_plan"
    __table_args__ = (UniqueConstraint("field_day_id", "number"), NEVER_REUSE_IDS)

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id")
    number: int
    snapshot_json: str
    model_version: str
    published_at: datetime
    published_by: str
    replaces_number: int | None = None
