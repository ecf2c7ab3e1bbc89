"""Guard history in the database itself: a published plan never changes, the logbook only grows.

A later batch change of one of these tables makes it anew and loses its triggers: it must create them again.
"""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_REFUSALS = {
    "published_plan": "a published plan never changes",
    "logbook_entry": "the logbook only grows",
}


def upgrade() -> None:
    for table, reason in _REFUSALS.items():
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_refuses_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{reason}'); END"
            )
