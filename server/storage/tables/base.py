"""What all tables share: above all names for constraints, since a batch migration finds them by name."""

from typing import Any

from sqlalchemy import Column, Integer, text
from sqlmodel import Field, SQLModel

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

# A deleted row's id never comes back, so a stale link or form can never mean somebody else's row.
NEVER_REUSE_IDS = {"sqlite_autoincrement": True}


def key() -> Any:
    return Field(default=None, primary_key=True)


def version_column() -> "Column[int]":
    """Counted up by SQLAlchemy at each update: a form that shows an older one was overtaken."""
    return Column("version", Integer, nullable=False)


def only_where(condition: str) -> dict[str, Any]:
    """What makes an index partial, for either database."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}
