from sqlmodel import Session, col, select

from server.storage.tables import OFF, Clearance


def add(session: Session, clearance: Clearance) -> Clearance:
    session.add(clearance)
    session.flush()
    return clearance


def by_id(session: Session, field_day_id: int, clearance_id: int) -> Clearance | None:
    """The clearance, but only on this day."""
    wanted = select(Clearance).where(col(Clearance.field_day_id) == field_day_id)
    return session.exec(wanted.where(col(Clearance.id) == clearance_id)).first()


def live(session: Session, field_day_id: int) -> list[Clearance]:
    """Everybody who asked and is not off, in the order they asked."""
    wanted = select(Clearance).where(col(Clearance.field_day_id) == field_day_id, col(Clearance.stage) != OFF)
    return list(session.exec(wanted.order_by(col(Clearance.id))))


def days_with_clearances(session: Session) -> list[int]:
    """Ids of the days where somebody asked and is not off."""
    return sorted(set(session.exec(select(Clearance.field_day_id).where(col(Clearance.stage) != OFF))))


def live_of(session: Session, pilot_id: int) -> Clearance | None:
    return session.exec(
        select(Clearance).where(col(Clearance.pilot_id) == pilot_id, col(Clearance.stage) != OFF)
    ).first()
