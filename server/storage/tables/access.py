from datetime import datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key

_ROLE = "role IN ('organizer', 'director', 'helper')"


class PassPhrase(SQLModel, table=True):
    """What lets a role of a club in, salted and hashed; the phrase itself is kept nowhere."""

    __tablename__ = "pass_phrase"
    __table_args__ = (
        UniqueConstraint("club_id", "role"),
        CheckConstraint(_ROLE, name="role"),
        NEVER_REUSE_IDS,
    )

    id: int | None = key()
    club_id: int = Field(foreign_key="club.id")
    role: str
    salt: bytes
    hash: bytes
    parameters: str
    made_at: datetime


class SignedIn(SQLModel, table=True):
    """A browser that is signed in; only hashes of its cookies are kept.

    came_from   "this machine", "this network" or "elsewhere": no address
    known_hash  of the cookie by which the browser is known again after it was signed out
    """

    __tablename__ = "signed_in"
    __table_args__ = (CheckConstraint(_ROLE, name="role"), NEVER_REUSE_IDS)

    id: int | None = key()
    club_id: int = Field(foreign_key="club.id", index=True)
    role: str
    token_hash: str = Field(unique=True)
    known_hash: str = Field(default="", index=True)
    came_from: str = ""
    created_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None


class FailedSignIn(SQLModel, table=True):
    """A try to sign in, counted by account and by where it came from, until the right phrase clears it.

    club_id  0 for all clubs that do not exist
    source   a network address, or the hash by which a browser is known
    """

    __tablename__ = "failed_sign_in"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    club_id: int = Field(index=True)
    role: str
    source: str
    is_known: bool
    at: datetime
