"""Paper choices: the size of paper and the sections of the heat sheet, kept for each day."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "paper_choice",
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("size", AutoString(), nullable=False),
        sa.Column("sections", AutoString(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_paper_choice_field_day_id_field_day"
        ),
        sa.PrimaryKeyConstraint("field_day_id", name="pk_paper_choice"),
    )
