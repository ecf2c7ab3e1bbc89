from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

_version = version_column()


class Draft(SQLModel, table=True):
    """The one plan of a day that is being worked on."""

    __tablename__ = "draft"
    __table_args__ = NEVER_REUSE_IDS
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", unique=True)
    content_json: str
    result_json: str = "{}"
    undo_json: str = "[]"
    based_on_number: int | None = None
    version: int = Field(default=1, sa_column=_version)
    updated_at: datetime
