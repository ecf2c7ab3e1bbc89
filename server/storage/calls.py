from collections import Counter
from collections.abc import Sequence

from sqlmodel import Session, col, select

from server.storage.tables import OVER, Call, CallSlot, FlightLine


def add(session: Session, call: Call, slots: Sequence[CallSlot]) -> Call:
    """Store a call; its id is written into the slots."""
    session.add(call)
    session.flush()
    assert call.id is not None
    for slot in slots:
        slot.call_id = call.id
        session.add(slot)
    session.flush()
    return call


def live(session: Session, field_day_id: int) -> Call | None:
    """The call that is not over yet; a day has one at most."""
    of_the_day = select(Call).where(col(Call.field_day_id) == field_day_id, col(Call.stage) != OVER)
    return session.exec(of_the_day).first()


def last(session: Session, field_day_id: int) -> Call | None:
    """The latest call, live or over."""
    of_the_day = select(Call).where(col(Call.field_day_id) == field_day_id)
    return session.exec(of_the_day.order_by(col(Call.id).desc())).first()


def of_day(session: Session, field_day_id: int) -> list[Call]:
    """Every call of the day in the order they were called."""
    return list(
        session.exec(select(Call).where(col(Call.field_day_id) == field_day_id).order_by(col(Call.id)))
    )


def slots_of(session: Session, call_id: int) -> list[CallSlot]:
    """Everybody of a call in the order of powering up."""
    of_the_call = select(CallSlot).where(col(CallSlot.call_id) == call_id)
    return list(session.exec(of_the_call.order_by(col(CallSlot.position), col(CallSlot.id))))


def slot_by_id(session: Session, field_day_id: int, slot_id: int) -> tuple[Call, CallSlot] | None:
    """The slot with its call, but only on this day."""
    wanted = select(Call, CallSlot).join(CallSlot, col(CallSlot.call_id) == col(Call.id))
    found = session.exec(
        wanted.where(col(Call.field_day_id) == field_day_id, col(CallSlot.id) == slot_id)
    ).first()
    return (found[0], found[1]) if found else None


def slots_that_count(session: Session, field_day_id: int) -> list[tuple[Call, CallSlot]]:
    """The slots of every call of the day that counts, each with its call."""
    wanted = select(Call, CallSlot).join(CallSlot, col(CallSlot.call_id) == col(Call.id))
    of_the_day = wanted.where(col(Call.field_day_id) == field_day_id, col(Call.counts).is_(True))
    return [(call, slot) for call, slot in session.exec(of_the_day.order_by(col(CallSlot.id)))]


def flights(session: Session, field_day_id: int) -> Counter[int]:
    """By pilot id, how often the pilot was released in a call that counts."""
    return Counter(
        slot.pilot_id for _, slot in slots_that_count(session, field_day_id) if slot.released_at is not None
    )


def days_with_a_call(session: Session) -> list[int]:
    """Ids of the days with a live call."""
    return sorted(set(session.exec(select(Call.field_day_id).where(col(Call.stage) != OVER))))


def line_of(session: Session, field_day_id: int) -> FlightLine | None:
    return session.exec(select(FlightLine).where(col(FlightLine.field_day_id) == field_day_id)).first()


def add_line(session: Session, line: FlightLine) -> FlightLine:
    session.add(line)
    session.flush()
    return line
