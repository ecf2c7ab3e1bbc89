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
    make = _on_postgresql if op.get_bind().dialect.name == "postgresql" else _on_sqlite
    for table, reason in _REFUSALS.items():
        for change in ("UPDATE", "DELETE"):
            make(table, change, reason)


def _on_sqlite(table: str, change: str, reason: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_refuses_{change.lower()} BEFORE {change} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{reason}'); END"
    )


def _on_postgresql(table: str, change: str, reason: str) -> None:
    name = f"{table}_refuses_{change.lower()}"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{reason}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")
