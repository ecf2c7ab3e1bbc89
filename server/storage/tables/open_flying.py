from datetime import datetime

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, only_where, version_column

WAITING = "waiting"
READY = "ready"
POWER_UP = "power up"
FLYING = "flying"
LANDING = "landing"
DOWN = "down, still on"
TURN_STAGES = (WAITING, READY, POWER_UP, FLYING, LANDING, DOWN)

_open_flying_version = version_column()
_turn_version = version_column()


class OpenFlying(SQLModel, table=True):
    """Whether pilots of a day fly without heats now; one row a day, from its first opening on.

    may_power_up_beside   pits may power up while others fly, where that is clear by computation
    """

    __tablename__ = "open_flying"
    __table_args__ = NEVER_REUSE_IDS
    __mapper_args__ = {"version_id_col": _open_flying_version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", unique=True)
    is_open: bool
    may_power_up_beside: bool
    changed_at: datetime
    version: int = Field(default=1, sa_column=_open_flying_version)


class Turn(SQLModel, table=True):
    """One pilot's turn at open flying: asked for, waited for, held as a place, given back. Ids follow the queue.

    stage        where it stands, or stood when it ended
    passed_over  later turns that got a place while this one waited
    why          what it waits for, one sentence; empty when nothing is in the way
    place        number of the place it holds, from 1; None in the queue, as are mhz and power_mw
    gear         marks the aircraft and its set-up as they were when the channel was given or confirmed
    picture_at   when the picture was clear: from then on the transmitter is known to be on
    """

    __tablename__ = "turn"
    __table_args__ = (
        CheckConstraint(f"stage IN {TURN_STAGES!r}", name="stage"),
        Index("uq_turn_live_pilot", "pilot_id", unique=True, **only_where("ended_at IS NULL")),
        Index("uq_turn_live_place", "field_day_id", "place", unique=True, **only_where("ended_at IS NULL")),
        Index("uq_turn_live_mhz", "field_day_id", "mhz", unique=True, **only_where("ended_at IS NULL")),
        NEVER_REUSE_IDS,
    )
    __mapper_args__ = {"version_id_col": _turn_version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id")
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE")
    stage: str = WAITING
    passed_over: int = 0
    why: str = ""
    place: int | None = None
    mhz: int | None = None
    power_mw: float | None = None
    gear: str = ""
    asked_at: datetime
    seated_at: datetime | None = None
    confirmed_at: datetime | None = None
    picture_at: datetime | None = None
    nudged_at: datetime | None = None
    ended_at: datetime | None = None
    ended_how: str = ""
    version: int = Field(default=1, sa_column=_turn_version)

    @property
    def seen(self) -> str:
        """What a form repeats of the turn it shows, so that a press on an old page changes nothing."""
        return f"{self.stage} {self.mhz or ''}".strip()
