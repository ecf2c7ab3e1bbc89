"""What else is on the air at the field: channels found occupied, the field's own Wi-Fi, other video gear."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "outside_signal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=True),
        sa.Column("centre_mhz", sa.Float(), nullable=False),
        sa.Column("width_mhz", sa.Float(), nullable=False),
        sa.Column("level_dbm", sa.Float(), nullable=True),
        sa.Column("power_mw", sa.Float(), nullable=True),
        sa.Column("antenna_gain_dbi", sa.Float(), nullable=False),
        sa.Column("note", AutoString(), nullable=False),
        sa.Column("since", UTCDateTime(), nullable=False),
        sa.Column("ended_at", UTCDateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_outside_signal_field_day_id_field_day"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_outside_signal_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_outside_signal"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_outside_signal_field_day_id", "outside_signal", ["field_day_id"])
