"""How Alembic runs our revisions: in the transaction that `server/storage/migrate.py` has begun."""

from alembic import context
from sqlmodel import SQLModel

import server.storage.tables  # noqa: F401 fills the metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
