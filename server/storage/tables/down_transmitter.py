from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class DownTransmitter(SQLModel, table=True):
    """A transmitter that crashed and still transmits, with the facts it went down with, until it is found."""

    __tablename__ = "down_transmitter"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE")
    aircraft_id: int | None = None
    callsign: str
    mhz: int
    power_mw: float
    antenna: str
    antenna_gain_dbi: float
    since: datetime
    found_at: datetime | None = None
