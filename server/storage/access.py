from datetime import datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from server.storage.tables import FailedSignIn, PassPhrase, SignedIn


def pass_phrase(session: Session, club_id: int, role: str) -> PassPhrase | None:
    of_role = select(PassPhrase).where(col(PassPhrase.club_id) == club_id, col(PassPhrase.role) == role)
    return session.exec(of_role).first()


def pass_phrases(session: Session, club_id: int) -> list[PassPhrase]:
    return list(session.exec(select(PassPhrase).where(col(PassPhrase.club_id) == club_id)))


def replace_pass_phrase(session: Session, new: PassPhrase) -> None:
    """Keep it in place of the one that this role of the club had."""
    before = pass_phrase(session, new.club_id, new.role)
    if before is not None:
        session.delete(before)
        session.flush()
    session.add(new)
    session.flush()


def add_signed_in(session: Session, one: SignedIn) -> SignedIn:
    session.add(one)
    session.flush()
    return one


def live_one(session: Session, token_hash: str, at: datetime) -> SignedIn | None:
    """Who is signed in by this cookie, unless it was revoked or has run out."""
    wanted = select(SignedIn).where(
        col(SignedIn.token_hash) == token_hash,
        col(SignedIn.revoked_at).is_(None),
        col(SignedIn.expires_at) > at,
    )
    return session.exec(wanted).first()


def live_ones(session: Session, club_id: int, at: datetime) -> list[SignedIn]:
    """Every browser that is signed in for the club, the latest first."""
    live = select(SignedIn).where(
        col(SignedIn.club_id) == club_id,
        col(SignedIn.revoked_at).is_(None),
        col(SignedIn.expires_at) > at,
    )
    return list(session.exec(live.order_by(col(SignedIn.id).desc())))


def accounts_known_by(session: Session, known_hash: str) -> set[tuple[int, str]]:
    """The clubs and roles as which a browser was ever signed in."""
    wanted = select(SignedIn.club_id, SignedIn.role).where(col(SignedIn.known_hash) == known_hash)
    return set(session.exec(wanted.distinct()))


def revoke_all(
    session: Session, club_id: int, at: datetime, role: str | None = None, kept_token_hash: str = ""
) -> None:
    """Sign a club's browsers out, of one role or of all, but for one."""
    live = update(SignedIn).where(
        col(SignedIn.revoked_at).is_(None),
        col(SignedIn.club_id) == club_id,
        col(SignedIn.token_hash) != kept_token_hash,
    )
    if role is not None:
        live = live.where(col(SignedIn.role) == role)
    session.exec(live.values(revoked_at=at))


def add_failure(session: Session, failure: FailedSignIn) -> None:
    session.add(failure)
    session.flush()


def failures(session: Session, club_id: int, role: str) -> list[FailedSignIn]:
    """The remembered failures of an account, the oldest first."""
    own = select(FailedSignIn).where(col(FailedSignIn.club_id) == club_id, col(FailedSignIn.role) == role)
    return list(session.exec(own.order_by(col(FailedSignIn.id))))


def forget_failures(session: Session, before: datetime) -> None:
    session.exec(delete(FailedSignIn).where(col(FailedSignIn.at) <= before))


def forget_failures_of(session: Session, club_id: int, role: str, source: str | None = None) -> None:
    """Forget an account's failures, from one source or from all."""
    own = delete(FailedSignIn).where(col(FailedSignIn.club_id) == club_id, col(FailedSignIn.role) == role)
    if source is not None:
        own = own.where(col(FailedSignIn.source) == source)
    session.exec(own)
