from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class OutsideSignal(SQLModel, table=True):
    """Something else on the air at the field, until somebody notes that it is gone.

    level_dbm  at the pilots' receivers, as measured or judged; None of somebody's other video, whose level
               follows from power, gain and the site
    pilot_id   whose other video it is, which shares the air with the heats; None for anything else
    """

    __tablename__ = "outside_signal"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int | None = Field(default=None, foreign_key="pilot.id", ondelete="CASCADE")
    centre_mhz: float
    width_mhz: float
    level_dbm: float | None = None
    power_mw: float | None = None
    antenna_gain_dbi: float = 0.0
    note: str = ""
    since: datetime
    ended_at: datetime | None = None
