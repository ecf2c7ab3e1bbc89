from datetime import datetime

from sqlalchemy import CheckConstraint, Column, ForeignKey, Integer, UniqueConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

CHECKED_IN = "checked in"
WITHDRAWN = "withdrawn"
NO_SHOW = "no-show"
PILOT_STATES = (CHECKED_IN, WITHDRAWN, NO_SHOW)

_version = version_column()


class Pilot(SQLModel, table=True):
    """One pilot on one day's roster; the video set-ups belong to the pilot's aircraft."""

    __tablename__ = "pilot"
    __table_args__ = (
        UniqueConstraint("field_day_id", "callsign_key"),
        UniqueConstraint("field_day_id", "join_id"),
        CheckConstraint(f"state IN {PILOT_STATES!r}", name="state"),
        NEVER_REUSE_IDS,
    )
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id")
    callsign: str
    callsign_key: str
    name: str = ""
    station_id: str = ""
    note: str = ""
    adult_present: bool = False
    spotter: str = ""
    apart: str = ""
    together: str = ""
    after_heat: int | None = None
    before_heat: int | None = None
    heat: int | None = None
    pin: str = ""
    state: str = CHECKED_IN
    link_token: str = Field(unique=True)
    join_id: str | None = None
    provisional_mhz: int | None = None
    # Pilot and aircraft point at each other: use_alter keeps this one out of the order of creation.
    flying_aircraft_id: int | None = Field(
        default=None,
        sa_column=Column(
            "flying_aircraft_id",
            Integer,
            ForeignKey("aircraft.id", ondelete="SET NULL", use_alter=True),
            nullable=True,
        ),
    )
    version: int = Field(default=1, sa_column=_version)
    created_at: datetime
    updated_at: datetime
