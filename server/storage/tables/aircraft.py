from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

VIDEO_KINDS = ("analogue", "other")

_version = version_column()


class Aircraft(SQLModel, table=True):
    """One aircraft with its video set-up; gear is kept as it was typed."""

    __tablename__ = "aircraft"
    __table_args__ = (CheckConstraint(f"video IN {VIDEO_KINDS!r}", name="video"), NEVER_REUSE_IDS)
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE", index=True)
    name: str = "main"
    position: int = 0
    tunes: str
    receives: str = ""
    power_mw: str = "25"
    pit_power_mw: float | None = None
    antenna: str = "rhcp"
    rx_antenna: str = ""
    antenna_gain_dbi: float = 0.0
    video: str = "analogue"
    centre_mhz: float | None = None
    width_mhz: float | None = None
    version: int = Field(default=1, sa_column=_version)
