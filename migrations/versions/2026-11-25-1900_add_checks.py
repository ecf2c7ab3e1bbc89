"""Bench check and picture check: what was ticked for which aircraft, and which channel its transmitter is on.

The unique index covers live ticks alone: one of each item for an aircraft.
"""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "bench_tick",
        *_of_an_aircraft("bench_tick"),
        sa.Column("item", AutoString(), nullable=False),
        sa.Column("gear", AutoString(), nullable=False),
        sa.Column("who", AutoString(), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.Column("taken_back_at", UTCDateTime(), nullable=True),
        sa.CheckConstraint(
            "item IN ('failsafe', 'arming', 'link', 'antenna', 'power')", name="ck_bench_tick_item"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_bench_tick_field_day_id", "bench_tick", ["field_day_id"])
    op.create_index(
        "uq_bench_tick_live_item",
        "bench_tick",
        ["aircraft_id", "item"],
        unique=True,
        sqlite_where=sa.text("taken_back_at IS NULL"),
        postgresql_where=sa.text("taken_back_at IS NULL"),
    )
    op.create_table(
        "picture_check",
        *_of_an_aircraft("picture_check"),
        sa.Column("gear", AutoString(), nullable=False),
        sa.Column("mhz", sa.Integer(), nullable=False),
        sa.Column("verdict", AutoString(), nullable=False),
        sa.Column("readings_json", AutoString(), nullable=False),
        sa.Column("found_json", AutoString(), nullable=False),
        sa.Column("chance", sa.Float(), nullable=True),
        sa.Column("who", AutoString(), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.Column("is_void", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("verdict IN ('right', 'wrong', 'in doubt')", name="ck_picture_check_verdict"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_picture_check_field_day_id", "picture_check", ["field_day_id"])
    op.create_index("ix_picture_check_pilot_id", "picture_check", ["pilot_id"])


def _of_an_aircraft(table: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("aircraft_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name=f"fk_{table}_field_day_id_field_day"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name=f"fk_{table}_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["aircraft_id"], ["aircraft.id"], name=f"fk_{table}_aircraft_id_aircraft", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=f"pk_{table}"),
    ]
