from sqlmodel import Session, col, select

from server.storage.tables import TroubleReport


def add(session: Session, report: TroubleReport) -> TroubleReport:
    session.add(report)
    session.flush()
    return report


def still_open(session: Session, field_day_id: int) -> list[TroubleReport]:
    """Reports of the day that nobody closed yet, the oldest first."""
    there = select(TroubleReport).where(
        col(TroubleReport.field_day_id) == field_day_id, col(TroubleReport.closed_at).is_(None)
    )
    return list(session.exec(there.order_by(col(TroubleReport.id))))


def closed(session: Session, field_day_id: int, limit: int) -> list[TroubleReport]:
    """The last reports of the day that were closed, the newest first."""
    there = select(TroubleReport).where(
        col(TroubleReport.field_day_id) == field_day_id, col(TroubleReport.closed_at).is_not(None)
    )
    return list(session.exec(there.order_by(col(TroubleReport.closed_at).desc()).limit(limit)))


def closed_as(session: Session, field_day_id: int, call_id: int, what: str) -> list[TroubleReport]:
    """Reports of one call that were closed with these words, the oldest first."""
    there = select(TroubleReport).where(
        col(TroubleReport.field_day_id) == field_day_id,
        col(TroubleReport.call_id) == call_id,
        col(TroubleReport.closed_as) == what,
    )
    return list(session.exec(there.order_by(col(TroubleReport.id))))
