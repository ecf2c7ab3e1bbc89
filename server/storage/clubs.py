from datetime import datetime

from sqlmodel import Session, col, select

from server.storage.tables import Club


def add(session: Session, name: str, made_at: datetime) -> Club:
    club = Club(name=name, made_at=made_at)
    session.add(club)
    session.flush()
    return club


def by_id(session: Session, club_id: int) -> Club | None:
    return session.get(Club, club_id)


def by_name(session: Session, name: str) -> Club | None:
    return session.exec(select(Club).where(col(Club.name) == name)).first()


def oldest_first(session: Session) -> list[Club]:
    return list(session.exec(select(Club).order_by(col(Club.id))))
