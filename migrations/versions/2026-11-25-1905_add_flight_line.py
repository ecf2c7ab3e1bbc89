"""The flight line: what holds for everybody, calls of heats with their pilots, and clearances.

The unique indexes with a condition: one live call a day, one open clearance a pilot.
"""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "flight_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("everybody_land_at", UTCDateTime(), nullable=True),
        sa.Column("everybody_land_reason", AutoString(), nullable=False),
        sa.Column("everybody_land_who", AutoString(), nullable=False),
        sa.Column("walkers_since", UTCDateTime(), nullable=True),
        sa.Column("starts_at", AutoString(), nullable=False),
        sa.Column("ends_by", AutoString(), nullable=False),
        sa.Column("may_clear_beside", sa.Boolean(), nullable=False),
        sa.Column("counted_from_call", sa.Integer(), nullable=False),
        sa.Column("last_step_json", AutoString(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_flight_line_field_day_id_field_day"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_flight_line"),
        sa.UniqueConstraint("field_day_id", name="uq_flight_line_field_day_id"),
        sqlite_autoincrement=True,
    )
    _create_calls()
    _create_clearances()


def _create_calls() -> None:
    op.create_table(
        "call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("plan_number", sa.Integer(), nullable=False),
        sa.Column("heats", sa.JSON(), nullable=False),
        sa.Column("stage", AutoString(), nullable=False),
        sa.Column("reason", AutoString(), nullable=False),
        sa.Column("called_at", UTCDateTime(), nullable=False),
        sa.Column("released_at", UTCDateTime(), nullable=True),
        sa.Column("ended_at", UTCDateTime(), nullable=True),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("flown_before", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("stage IN ('powering up', 'flying', 'landing', 'over')", name="ck_call_stage"),
        sa.ForeignKeyConstraint(["field_day_id"], ["field_day.id"], name="fk_call_field_day_id_field_day"),
        sa.PrimaryKeyConstraint("id", name="pk_call"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_call_field_day_id", "call", ["field_day_id"])
    is_live = sa.text("stage <> 'over'")
    only_live = {"sqlite_where": is_live, "postgresql_where": is_live}
    op.create_index("uq_call_live", "call", ["field_day_id"], unique=True, **only_live)
    op.create_table(
        "call_slot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("call_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("callsign", AutoString(), nullable=False),
        sa.Column("heat", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("mhz", sa.Integer(), nullable=False),
        sa.Column("channel", AutoString(), nullable=True),
        sa.Column("power_mw", sa.Float(), nullable=False),
        sa.Column("margin_db", sa.Float(), nullable=True),
        sa.Column("stage", AutoString(), nullable=False),
        sa.Column("picture_at", UTCDateTime(), nullable=True),
        sa.Column("released_at", UTCDateTime(), nullable=True),
        sa.Column("changed_at", UTCDateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "stage IN ('waiting', 'power up', 'picture clear', 'flying', 'landing', 'landed', 'off', "
            "'down, still on', 'left out')",
            name="ck_call_slot_stage",
        ),
        sa.ForeignKeyConstraint(
            ["call_id"], ["call.id"], name="fk_call_slot_call_id_call", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_call_slot_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_call_slot"),
        sa.UniqueConstraint("call_id", "pilot_id", name="uq_call_slot_call_id_pilot_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_call_slot_pilot_id", "call_slot", ["pilot_id"])


def _create_clearances() -> None:
    op.create_table(
        "clearance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("aircraft_id", sa.Integer(), nullable=True),
        sa.Column("why", AutoString(), nullable=False),
        sa.Column("place", AutoString(), nullable=False),
        sa.Column("mhz", sa.Integer(), nullable=True),
        sa.Column("power_mw", sa.Float(), nullable=False),
        sa.Column("stage", AutoString(), nullable=False),
        sa.Column("words", AutoString(), nullable=False),
        sa.Column("asked_at", UTCDateTime(), nullable=False),
        sa.Column("answered_at", UTCDateTime(), nullable=True),
        sa.Column("on_at", UTCDateTime(), nullable=True),
        sa.Column("off_at", UTCDateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("stage IN ('waiting', 'cleared', 'on', 'off')", name="ck_clearance_stage"),
        sa.CheckConstraint(
            "why IN ('bench check', 'picture check', 'retune', 'set-up')", name="ck_clearance_why"
        ),
        sa.CheckConstraint("place IN ('pits', 'pilot line')", name="ck_clearance_place"),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_clearance_field_day_id_field_day"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_clearance_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_clearance"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_clearance_field_day_id", "clearance", ["field_day_id"])
    op.create_index(
        "uq_clearance_live_pilot",
        "clearance",
        ["pilot_id"],
        unique=True,
        sqlite_where=sa.text("stage <> 'off'"),
        postgresql_where=sa.text("stage <> 'off'"),
    )
