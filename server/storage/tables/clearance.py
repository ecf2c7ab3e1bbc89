from datetime import datetime

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, only_where, version_column
from server.storage.tables.flight_line import OFF
from server.storage.tables.open_flying import WAITING

CLEARED = "cleared"
ON = "on"
CALLED_OFF = "called off"
UNASKED = "on unasked"
CLEARANCE_STAGES = (WAITING, CLEARED, ON, UNASKED, CALLED_OFF, OFF)
CLEARANCES_MAY_BE_ON = (CLEARED, ON, UNASKED, CALLED_OFF)

BENCH_CHECK = "bench check"
PICTURE_CHECK = "picture check"
RETUNE = "retune"
SET_UP = "set-up"
NOT_KNOWN = "nobody knows what for"
CLEARANCE_REASONS = (BENCH_CHECK, PICTURE_CHECK, RETUNE, SET_UP)

PITS = "pits"
PILOT_LINE = "pilot line"
CLEARANCE_PLACES = (PITS, PILOT_LINE)

_version = version_column()


class Clearance(SQLModel, table=True):
    """One wish to switch a transmitter on outside a call, and what became of it; or one that is on unasked.

    why      what for; retuning asks too, since a push-button set transmits on every channel it steps through
    mhz      None where its channel is not confirmed: it counts on the worst channel it can tune
    place    in the pits, or by the pilot line, where it counts as near
    words    the answer: why to wait and how long, or in which words the director overrode it
    """

    __tablename__ = "clearance"
    __table_args__ = (
        CheckConstraint(f"stage IN {CLEARANCE_STAGES!r}", name="stage"),
        CheckConstraint(f"why IN {(*CLEARANCE_REASONS, NOT_KNOWN)!r}", name="why"),
        CheckConstraint(f"place IN {CLEARANCE_PLACES!r}", name="place"),
        Index("uq_clearance_live_pilot", "pilot_id", unique=True, **only_where("stage <> 'off'")),
        NEVER_REUSE_IDS,
    )
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE")
    aircraft_id: int | None = None
    why: str
    place: str = PITS
    mhz: int | None = None
    power_mw: float
    stage: str = WAITING
    words: str = ""
    asked_at: datetime
    answered_at: datetime | None = None
    on_at: datetime | None = None
    off_at: datetime | None = None
    version: int = Field(default=1, sa_column=_version)

    @property
    def seen(self) -> str:
        """What a form repeats of the wish it shows."""
        return self.stage
