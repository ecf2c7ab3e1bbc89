from datetime import date

from sqlalchemy import ColumnElement, exists, or_
from sqlmodel import Session, SQLModel, col, select
from sqlmodel.sql.expression import SelectOfScalar

from server.storage.tables import (
    CLEARANCES_MAY_BE_ON,
    OVER,
    Call,
    Clearance,
    FieldDay,
    FlightLine,
    OpenFlying,
)


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
    return session.exec(_open_days(club_id)).first()


def in_use(session: Session, club_id: int, since: date) -> FieldDay | None:
    """The club's day of that date or later at which somebody may be on now; of several the one made last."""
    return session.exec(_open_days(club_id).where(col(FieldDay.date) >= since, _in_use())).first()


def _open_days(club_id: int) -> SelectOfScalar[FieldDay]:
    open_days = select(FieldDay).where(col(FieldDay.archived_at).is_(None), col(FieldDay.club_id) == club_id)
    return open_days.order_by(col(FieldDay.id).desc())


def _in_use() -> ColumnElement[bool]:
    """A call is up, open flying is on, somebody was let switch on, or everybody was called down."""
    signs: tuple[tuple[type[SQLModel], ColumnElement[bool]], ...] = (
        (Call, col(Call.stage) != OVER),
        (OpenFlying, col(OpenFlying.is_open).is_(True)),
        (Clearance, col(Clearance.stage).in_(CLEARANCES_MAY_BE_ON)),
        (FlightLine, col(FlightLine.everybody_land_at).is_not(None)),
    )
    return or_(
        *(exists().where(table.field_day_id == FieldDay.id, is_so) for table, is_so in signs)  # type: ignore[attr-defined]
    )
