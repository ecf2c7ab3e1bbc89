from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class DirectorSecret(SQLModel, table=True):
    """The one pass phrase of this machine, salted and hashed; the phrase itself is kept nowhere."""

    __tablename__ = "director_secret"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: int | None = Field(default=1, primary_key=True)
    salt: bytes
    hash: bytes
    parameters: str
    made_at: datetime


class DirectorSession(SQLModel, table=True):
    """A browser that is signed in; only the hash of its cookie is kept."""

    __tablename__ = "director_session"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    token_hash: str = Field(unique=True)
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None


class FailedSignIn(SQLModel, table=True):
    """A wrong pass phrase, counted by the network address it came from."""

    __tablename__ = "failed_sign_in"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    address: str = Field(index=True)
    at: datetime
