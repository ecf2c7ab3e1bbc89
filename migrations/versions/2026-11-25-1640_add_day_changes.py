"""What a day needs to change: how many heats are flown, and transmitters that are down and still on."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("field_day", sa.Column("flown_heats", sa.Integer(), nullable=False, server_default="0"))
    op.create_table(
        "down_transmitter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("aircraft_id", sa.Integer(), nullable=True),
        sa.Column("callsign", AutoString(), nullable=False),
        sa.Column("mhz", sa.Integer(), nullable=False),
        sa.Column("power_mw", sa.Float(), nullable=False),
        sa.Column("antenna", AutoString(), nullable=False),
        sa.Column("antenna_gain_dbi", sa.Float(), nullable=False),
        sa.Column("since", UTCDateTime(), nullable=False),
        sa.Column("found_at", UTCDateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_down_transmitter_field_day_id_field_day"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_down_transmitter_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_down_transmitter"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_down_transmitter_field_day_id", "down_transmitter", ["field_day_id"])
