from sqlmodel import Session, col, select

from server.storage.tables import DownTransmitter


def add(session: Session, down: DownTransmitter) -> DownTransmitter:
    session.add(down)
    session.flush()
    return down


def still_on(session: Session, field_day_id: int) -> list[DownTransmitter]:
    """Those of the day that nobody found yet, the longest lost first."""
    lost = select(DownTransmitter).where(
        col(DownTransmitter.field_day_id) == field_day_id, col(DownTransmitter.found_at).is_(None)
    )
    return list(session.exec(lost.order_by(col(DownTransmitter.id))))
