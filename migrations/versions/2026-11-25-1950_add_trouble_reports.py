"""Trouble reports: what a pilot sees, which causes the desk was told of, and what came of it."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "trouble_report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("call_id", sa.Integer(), nullable=True),
        sa.Column("callsign", AutoString(), nullable=False),
        sa.Column("symptom", AutoString(), nullable=False),
        sa.Column("near", AutoString(), nullable=False),
        sa.Column("onset", AutoString(), nullable=False),
        sa.Column("who", AutoString(), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.Column("causes_json", AutoString(), nullable=False),
        sa.Column("answer", AutoString(), nullable=False),
        sa.Column("answered_at", UTCDateTime(), nullable=True),
        sa.Column("closed_at", UTCDateTime(), nullable=True),
        sa.Column("closed_as", AutoString(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_trouble_report_field_day_id_field_day"
        ),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_trouble_report_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_trouble_report"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_trouble_report_field_day_id", "trouble_report", ["field_day_id"])
