"""Several server processes on one database: jobs that all can see, and news of each change for all."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

TELL = """
CREATE FUNCTION tell_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.field_day_id IS NOT NULL THEN
        PERFORM pg_notify('bandstand_change', NEW.field_day_id::text);
    END IF;
    RETURN NULL;
END $$
"""


def upgrade() -> None:
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("kind", AutoString(), nullable=False),
        sa.Column("state", AutoString(), nullable=False),
        sa.Column("progress_json", AutoString(), nullable=False),
        sa.Column("result_json", AutoString(), nullable=False),
        sa.Column("error", AutoString(), nullable=False),
        sa.Column("is_cancel_wished", sa.Boolean(), nullable=False),
        sa.Column("heard_at", UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(["field_day_id"], ["field_day.id"], name="fk_job_field_day_id_field_day"),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_job_field_day_id", "job", ["field_day_id"])
    is_running = sa.text("state = 'running'")
    op.create_index(
        "uq_job_running",
        "job",
        ["field_day_id"],
        unique=True,
        sqlite_where=is_running,
        postgresql_where=is_running,
    )
    if op.get_bind().dialect.name == "postgresql":
        # In the transaction of the change itself: told if and only if it is committed, and once for each day.
        op.execute(TELL)
        op.execute(
            "CREATE TRIGGER logbook_entry_tells AFTER INSERT ON logbook_entry "
            "FOR EACH ROW EXECUTE FUNCTION tell_change()"
        )
