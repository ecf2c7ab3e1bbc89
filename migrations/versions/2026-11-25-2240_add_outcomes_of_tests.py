"""Outcomes of the tests of a bad picture, and what they are weighed by."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("trouble_report", sa.Column("case_json", AutoString(), nullable=False, server_default=""))
    op.add_column(
        "trouble_report", sa.Column("outcomes_json", AutoString(), nullable=False, server_default="[]")
    )
