from sqlmodel import Session, col, select

from server.storage.tables import FieldDay, OpenFlying, Turn


def add(session: Session, turn: Turn) -> Turn:
    session.add(turn)
    session.flush()
    return turn


def by_id(session: Session, field_day_id: int, turn_id: int) -> Turn | None:
    """The turn, but only on this day."""
    return session.exec(
        select(Turn).where(col(Turn.field_day_id) == field_day_id, col(Turn.id) == turn_id)
    ).first()


def live(session: Session, field_day_id: int) -> list[Turn]:
    """Everybody in the queue or with a place, in the order they asked."""
    of_the_day = select(Turn).where(col(Turn.field_day_id) == field_day_id, col(Turn.ended_at).is_(None))
    return list(session.exec(of_the_day.order_by(col(Turn.id))))


def live_of(session: Session, pilot_id: int) -> Turn | None:
    return session.exec(
        select(Turn).where(col(Turn.pilot_id) == pilot_id, col(Turn.ended_at).is_(None))
    ).first()


def last_ended(session: Session, field_day_id: int, limit: int) -> list[Turn]:
    """The latest to end first."""
    ended = select(Turn).where(col(Turn.field_day_id) == field_day_id, col(Turn.ended_at).is_not(None))
    return list(session.exec(ended.order_by(col(Turn.ended_at).desc(), col(Turn.id).desc()).limit(limit)))


def add_open_flying(session: Session, row: OpenFlying) -> OpenFlying:
    session.add(row)
    session.flush()
    return row


def open_flying_of(session: Session, field_day_id: int) -> OpenFlying | None:
    return session.exec(select(OpenFlying).where(col(OpenFlying.field_day_id) == field_day_id)).first()


def days_with_turns(session: Session) -> list[int]:
    """Ids of the days, archived ones left out, where somebody is in the queue or has a place."""
    live = select(Turn.field_day_id).join(FieldDay, col(FieldDay.id) == col(Turn.field_day_id))
    live = live.where(col(Turn.ended_at).is_(None), col(FieldDay.archived_at).is_(None))
    return sorted(set(session.exec(live)))
