from sqlmodel import Session, col, select

from server.storage.tables import OutsideSignal


def add(session: Session, signal: OutsideSignal) -> OutsideSignal:
    session.add(signal)
    session.flush()
    return signal


def on_the_air(session: Session, field_day_id: int) -> list[OutsideSignal]:
    """Those of the day that nobody noted as gone, the oldest first."""
    there = select(OutsideSignal).where(
        col(OutsideSignal.field_day_id) == field_day_id, col(OutsideSignal.ended_at).is_(None)
    )
    return list(session.exec(there.order_by(col(OutsideSignal.id))))
