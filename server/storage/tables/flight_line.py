from datetime import datetime

from sqlalchemy import JSON, CheckConstraint, Column, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, only_where, version_column
from server.storage.tables.open_flying import DOWN, FLYING, LANDING, POWER_UP, WAITING

POWERING_UP = "powering up"
OVER = "over"
CALL_STAGES = (POWERING_UP, FLYING, LANDING, OVER)

PICTURE_CLEAR = "picture clear"
LANDED = "landed"
OFF = "off"
LEFT_OUT = "left out"
CALL_SLOT_STAGES = (WAITING, POWER_UP, PICTURE_CLEAR, FLYING, LANDING, LANDED, OFF, DOWN, LEFT_OUT)

_line_version = version_column()
_call_version = version_column()
_call_slot_version = version_column()


class FlightLine(SQLModel, table=True):
    """What holds for everybody of a day at the flight line; one row a day, from its first use on.

    everybody_land_at    while set, everybody lands and nobody is called; with the reason and who said so
    walkers_since        while set, people walk on the field: nobody powers up or is released
    starts_at, ends_by   hours of the day, "09:30" by its own clocks; empty where nobody said
    may_clear_beside     pits may power up beside a running heat, where that is clear by computation
    counted_from_call    calls up to this id fill no heat ahead: the director said since which heat is next
    last_step_json       what takes the last step back; empty where nothing does
    """

    __tablename__ = "flight_line"
    __table_args__ = NEVER_REUSE_IDS
    __mapper_args__ = {"version_id_col": _line_version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", unique=True)
    everybody_land_at: datetime | None = None
    everybody_land_reason: str = ""
    everybody_land_who: str = ""
    walkers_since: datetime | None = None
    starts_at: str = ""
    ends_by: str = ""
    may_clear_beside: bool = False
    counted_from_call: int = 0
    last_step_json: str = ""
    version: int = Field(default=1, sa_column=_line_version)


class Call(SQLModel, table=True):
    """One calling of a heat, of a part of one, or of several together.

    heats         numbers of the plan it was called with
    reason        why it was stopped, or what was overridden to call it; empty for the usual call
    released_at   when the heat was released to fly; None while it never was
    counts        whether it counts as flown
    flown_before  heats that were flown when it ended, for its undo
    """

    __tablename__ = "call"
    __table_args__ = (
        CheckConstraint(f"stage IN {CALL_STAGES!r}", name="stage"),
        Index("uq_call_live", "field_day_id", unique=True, **only_where("stage <> 'over'")),
        NEVER_REUSE_IDS,
    )
    __mapper_args__ = {"version_id_col": _call_version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    plan_number: int
    heats: list[int] = Field(sa_column=Column("heats", JSON, nullable=False))
    stage: str = POWERING_UP
    reason: str = ""
    called_at: datetime
    released_at: datetime | None = None
    ended_at: datetime | None = None
    counts: bool = True
    flown_before: int | None = None
    version: int = Field(default=1, sa_column=_call_version)

    @property
    def seen(self) -> str:
        """What a form repeats of the call it shows, so that a press on an old page changes nothing."""
        return f"{self.id} {self.stage}"


class CallSlot(SQLModel, table=True):
    """One pilot in one call, with the channel and power it was called with.

    position     place in the order of powering up, from 1: the weakest margin first
    picture_at   when the picture was clear: from then on the transmitter is known to be on
    released_at  when the director released the pilot to fly: a flight, if the call counts
    """

    __tablename__ = "call_slot"
    __table_args__ = (
        CheckConstraint(f"stage IN {CALL_SLOT_STAGES!r}", name="stage"),
        UniqueConstraint("call_id", "pilot_id"),
        NEVER_REUSE_IDS,
    )
    __mapper_args__ = {"version_id_col": _call_slot_version}

    id: int | None = key()
    call_id: int = Field(foreign_key="call.id", ondelete="CASCADE")
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE", index=True)
    callsign: str
    heat: int
    position: int
    mhz: int
    channel: str | None = None
    power_mw: float
    margin_db: float | None = None
    stage: str = WAITING
    picture_at: datetime | None = None
    released_at: datetime | None = None
    changed_at: datetime
    version: int = Field(default=1, sa_column=_call_slot_version)

    @property
    def seen(self) -> str:
        """What a form repeats of the pilot's place in the call."""
        return f"{self.stage} {self.mhz}"
