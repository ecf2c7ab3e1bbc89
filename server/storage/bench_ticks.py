from sqlmodel import Session, col, select

from server.storage.tables import BenchTick


def add(session: Session, tick: BenchTick) -> BenchTick:
    session.add(tick)
    session.flush()
    return tick


def of_day(session: Session, field_day_id: int) -> list[BenchTick]:
    """Everything that is ticked on the day and was not taken back, in the order ticked."""
    live = select(BenchTick).where(
        col(BenchTick.field_day_id) == field_day_id, col(BenchTick.taken_back_at).is_(None)
    )
    return list(session.exec(live.order_by(col(BenchTick.id))))


def of_aircraft(session: Session, aircraft_id: int) -> dict[str, BenchTick]:
    """The same for one aircraft, by item."""
    live = select(BenchTick).where(
        col(BenchTick.aircraft_id) == aircraft_id, col(BenchTick.taken_back_at).is_(None)
    )
    return {tick.item: tick for tick in session.exec(live)}
