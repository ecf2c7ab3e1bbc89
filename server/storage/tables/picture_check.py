from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

CHANNEL_RIGHT = "right"
CHANNEL_WRONG = "wrong"
CHANNEL_IN_DOUBT = "in doubt"
VERDICTS = (CHANNEL_RIGHT, CHANNEL_WRONG, CHANNEL_IN_DOUBT)

_version = version_column()


class PictureCheck(SQLModel, table=True):
    """One look at which channel a transmitter is on; the latest of an aircraft counts.

    gear           marks the set-up that the aircraft had then
    mhz            the channel it was to be on
    verdict        whether it is on it; "in doubt" while readings are taken
    readings_json  what the desk's receiver read, in the order taken
    found_json     the carriers in MHz that it is on as likely as not to be told apart, where it is on another one
    chance         of that, from 0 to 1; None without readings in dB
    is_void        a swap, another channel or the people at the desk made an end of it
    """

    __tablename__ = "picture_check"
    __table_args__ = (CheckConstraint(f"verdict IN {VERDICTS!r}", name="verdict"), NEVER_REUSE_IDS)
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE", index=True)
    aircraft_id: int = Field(foreign_key="aircraft.id", ondelete="CASCADE")
    gear: str
    mhz: int
    verdict: str
    readings_json: str = "[]"
    found_json: str = "[]"
    chance: float | None = None
    who: str
    at: datetime
    is_void: bool = False
    version: int = Field(default=1, sa_column=_version)
