from sqlmodel import Session, col, select

from server.storage.tables import FieldDay


def add(session: Session, day: FieldDay) -> FieldDay:
    session.add(day)
    session.flush()
    return day


def by_id(session: Session, field_day_id: int) -> FieldDay | None:
    return session.get(FieldDay, field_day_id)


def by_code(session: Session, code: str) -> FieldDay | None:
    return session.exec(select(FieldDay).where(col(FieldDay.code) == code)).first()


def newest_first(session: Session, club_id: int | None = None) -> list[FieldDay]:
    """Every day of a club or of all, archived ones too, the latest date first."""
    wanted = select(FieldDay).order_by(col(FieldDay.date).desc(), col(FieldDay.id).desc())
    if club_id is not None:
        wanted = wanted.where(col(FieldDay.club_id) == club_id)
    return list(session.exec(wanted))


def current(session: Session, club_id: int) -> FieldDay | None:
    """The club's day made last among those that are not archived."""
    open_days = select(FieldDay).where(col(FieldDay.archived_at).is_(None), col(FieldDay.club_id) == club_id)
    return session.exec(open_days.order_by(col(FieldDay.id).desc())).first()
