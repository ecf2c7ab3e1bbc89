from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class Club(SQLModel, table=True):
    """Whose field days they are; a laptop has one, a hosted server may have many."""

    __tablename__ = "club"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    name: str = Field(unique=True)
    made_at: datetime
