from datetime import date, datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

_version = version_column()


class FieldDay(SQLModel, table=True):
    """One event: a site, a date, a roster, a plan."""

    __tablename__ = "field_day"
    __table_args__ = NEVER_REUSE_IDS
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    club_id: int = Field(foreign_key="club.id", index=True)
    code: str = Field(unique=True)
    name: str
    date: date
    time_zone: str
    aircraft: int = 6
    rounds: int = 1
    heat_minutes: int = 5
    flown_heats: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    settings_json: str = "{}"
    rule_set_json: str | None = None
    responsibility: str | None = None
    base_url: str | None = None
    version: int = Field(default=1, sa_column=_version)
    created_at: datetime
    archived_at: datetime | None = None
