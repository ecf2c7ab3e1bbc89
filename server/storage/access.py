from datetime import datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from server.storage.tables import DirectorSecret, DirectorSession, FailedSignIn


def secret(session: Session) -> DirectorSecret | None:
    return session.get(DirectorSecret, 1)


def replace_secret(session: Session, salt: bytes, hash_: bytes, parameters: str, made_at: datetime) -> None:
    session.merge(DirectorSecret(id=1, salt=salt, hash=hash_, parameters=parameters, made_at=made_at))
    session.flush()


def add_session(session: Session, token_hash: str, created_at: datetime, expires_at: datetime) -> None:
    session.add(DirectorSession(token_hash=token_hash, created_at=created_at, expires_at=expires_at))
    session.flush()


def live_session(session: Session, token_hash: str, at: datetime) -> DirectorSession | None:
    """The session of this cookie, unless it was revoked or has run out."""
    wanted = select(DirectorSession).where(
        col(DirectorSession.token_hash) == token_hash,
        col(DirectorSession.revoked_at).is_(None),
        col(DirectorSession.expires_at) > at,
    )
    return session.exec(wanted).first()


def revoke_session(session: Session, token_hash: str, at: datetime) -> None:
    _revoke(session, at, token_hash)


def revoke_all_sessions(session: Session, at: datetime) -> None:
    _revoke(session, at)


def _revoke(session: Session, at: datetime, token_hash: str | None = None) -> None:
    live = update(DirectorSession).where(col(DirectorSession.revoked_at).is_(None))
    if token_hash is not None:
        live = live.where(col(DirectorSession.token_hash) == token_hash)
    session.exec(live.values(revoked_at=at))


def add_failure(session: Session, address: str, at: datetime) -> None:
    session.add(FailedSignIn(address=address, at=at))
    session.flush()


def failures(session: Session, address: str) -> list[FailedSignIn]:
    """The remembered failures from one address, the oldest first."""
    own = select(FailedSignIn).where(col(FailedSignIn.address) == address)
    return list(session.exec(own.order_by(col(FailedSignIn.id))))


def forget_failures(session: Session, before: datetime) -> None:
    session.exec(delete(FailedSignIn).where(col(FailedSignIn.at) <= before))


def forget_failures_of(session: Session, address: str) -> None:
    session.exec(delete(FailedSignIn).where(col(FailedSignIn.address) == address))
