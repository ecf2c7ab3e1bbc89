"""Open flying: whether it is open, and the turns of pilots who asked to fly.

The unique indexes cover live turns alone: one turn a pilot, one pilot a place, one pilot a channel.
"""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "open_flying",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("may_power_up_beside", sa.Boolean(), nullable=False),
        sa.Column("changed_at", UTCDateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_open_flying_field_day_id_field_day"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_open_flying"),
        sa.UniqueConstraint("field_day_id", name="uq_open_flying_field_day_id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "turn",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("stage", AutoString(), nullable=False),
        sa.Column("passed_over", sa.Integer(), nullable=False),
        sa.Column("why", AutoString(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=True),
        sa.Column("mhz", sa.Integer(), nullable=True),
        sa.Column("power_mw", sa.Float(), nullable=True),
        sa.Column("gear", AutoString(), nullable=False),
        sa.Column("asked_at", UTCDateTime(), nullable=False),
        sa.Column("seated_at", UTCDateTime(), nullable=True),
        sa.Column("confirmed_at", UTCDateTime(), nullable=True),
        sa.Column("picture_at", UTCDateTime(), nullable=True),
        sa.Column("nudged_at", UTCDateTime(), nullable=True),
        sa.Column("ended_at", UTCDateTime(), nullable=True),
        sa.Column("ended_how", AutoString(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "stage IN ('waiting', 'ready', 'power up', 'flying', 'landing', 'down, still on')",
            name="ck_turn_stage",
        ),
        sa.ForeignKeyConstraint(["field_day_id"], ["field_day.id"], name="fk_turn_field_day_id_field_day"),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_turn_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_turn"),
        sqlite_autoincrement=True,
    )
    is_live = sa.text("ended_at IS NULL")
    only_live = {"sqlite_where": is_live, "postgresql_where": is_live}
    op.create_index("uq_turn_live_pilot", "turn", ["pilot_id"], unique=True, **only_live)
    op.create_index("uq_turn_live_place", "turn", ["field_day_id", "place"], unique=True, **only_live)
    op.create_index("uq_turn_live_mhz", "turn", ["field_day_id", "mhz"], unique=True, **only_live)
