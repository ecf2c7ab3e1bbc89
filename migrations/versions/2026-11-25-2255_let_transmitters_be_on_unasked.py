"""A transmitter outside a call can be on without its pilot having asked."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

STAGES = "stage IN ('waiting', 'cleared', 'on', 'on unasked', 'called off', 'off')"
REASONS = "why IN ('bench check', 'picture check', 'retune', 'set-up', 'nobody knows what for')"
PLACES = "place IN ('pits', 'pilot line')"


def upgrade() -> None:
    with op.batch_alter_table("clearance", table_kwargs={"sqlite_autoincrement": True}) as table:
        table.drop_constraint("ck_clearance_stage", type_="check")
        table.drop_constraint("ck_clearance_why", type_="check")
        # Dropped and made again as it was: copied by itself it would get its prefix twice.
        table.drop_constraint("ck_clearance_place", type_="check")
        table.create_check_constraint("place", sa.text(PLACES))
        table.create_check_constraint("stage", sa.text(STAGES))
        table.create_check_constraint("why", sa.text(REASONS))
