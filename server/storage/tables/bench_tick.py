from datetime import datetime

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, only_where

OF_THE_VIDEO = ("antenna", "power")
"""Items that have to be seen again when the video set-up changes."""

BENCH_ITEMS = ("failsafe", "arming", "link", *OF_THE_VIDEO)


class BenchTick(SQLModel, table=True):
    """One item of the bench check, seen to be right on one aircraft; taking it back keeps the row.

    gear  marks the set-up that the aircraft had then
    """

    __tablename__ = "bench_tick"
    __table_args__ = (
        CheckConstraint(f"item IN {BENCH_ITEMS!r}", name="item"),
        Index(
            "uq_bench_tick_live_item",
            "aircraft_id",
            "item",
            unique=True,
            **only_where("taken_back_at IS NULL"),
        ),
        NEVER_REUSE_IDS,
    )

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE")
    aircraft_id: int = Field(foreign_key="aircraft.id", ondelete="CASCADE")
    item: str
    gear: str
    who: str
    at: datetime
    taken_back_at: datetime | None = None
