"""EVERYBODY LAND calls off clearances: one more stage."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("clearance", table_kwargs={"sqlite_autoincrement": True}) as batch:
        batch.drop_constraint("ck_clearance_stage", type_="check")
        batch.create_check_constraint(
            "ck_clearance_stage", sa.text("stage IN ('waiting', 'cleared', 'on', 'called off', 'off')")
        )
