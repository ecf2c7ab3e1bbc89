"""All rows of one day, table by table: read for a file, and put in from one with their numbers."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlalchemy import Table, func, insert, text, update
from sqlalchemy.exc import OperationalError, StatementError
from sqlmodel import Session, SQLModel, col, select

from server.storage.tables import (
    Aircraft,
    BenchTick,
    Call,
    CallSlot,
    Clearance,
    DownTransmitter,
    Draft,
    FieldDay,
    FlightLine,
    LogbookEntry,
    OpenFlying,
    OutsideSignal,
    PaperChoice,
    PictureCheck,
    Pilot,
    PublishedPlan,
    TroubleReport,
    Turn,
)

TABLES: Mapping[str, type[SQLModel]] = {
    "pilots": Pilot,
    "aircraft": Aircraft,
    "draft": Draft,
    "published_plans": PublishedPlan,
    "logbook": LogbookEntry,
    "flight_line": FlightLine,
    "calls": Call,
    "call_slots": CallSlot,
    "clearances": Clearance,
    "open_flying": OpenFlying,
    "turns": Turn,
    "bench_ticks": BenchTick,
    "picture_checks": PictureCheck,
    "trouble_reports": TroubleReport,
    "down_transmitters": DownTransmitter,
    "outside_signals": OutsideSignal,
    "paper_choice": PaperChoice,
}
"""Everything of a day but the day itself, parents first."""

_PARENTS: Mapping[type[SQLModel], tuple[type[SQLModel], str]] = {
    Aircraft: (Pilot, "pilot_id"),
    CallSlot: (Call, "call_id"),
}
"""Tables whose rows belong to a day by way of another table's."""


class RowsDoNotFitError(Exception):
    """The rows contradict each other or the tables; the transaction must not be committed."""


def of_day(session: Session, field_day_id: int, name: str) -> Sequence[Any]:
    """Rows of one of TABLES, in the order they were made."""
    model = TABLES[name]
    wanted = select(model)
    if model in _PARENTS:
        parent, link = _PARENTS[model]
        wanted = wanted.join(parent, getattr(model, link) == parent.id)  # type: ignore[attr-defined]
        wanted = wanted.where(parent.field_day_id == field_day_id)  # type: ignore[attr-defined]
    else:
        wanted = wanted.where(model.field_day_id == field_day_id)  # type: ignore[attr-defined]
    if model is not PaperChoice:
        wanted = wanted.order_by(col(model.id))  # type: ignore[attr-defined]
    return session.exec(wanted).all()


def highest_id(session: Session, name: str) -> int:
    """The highest number that a row of this table ever had, also one that is gone."""
    table = _table(name)
    if session.get_bind().dialect.name == "postgresql":
        last = f"SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM {table.name}_id_seq"
        return int(session.execute(text(last)).scalar_one())
    found = session.execute(text("SELECT seq FROM sqlite_sequence WHERE name = :name"), {"name": table.name})
    return int(found.scalar() or 0)


def put_in_day(session: Session, row: Mapping[str, Any]) -> FieldDay:
    """Add the day itself, with its version as it is."""
    table = FieldDay.__table__  # type: ignore[attr-defined]
    added = session.execute(insert(table).values(**row).returning(table.c.id)).scalar_one()
    return session.get_one(FieldDay, added)


def taken_links(session: Session, tokens: Collection[str]) -> set[str]:
    """Which of these private links are in use on this machine."""
    return set(session.exec(select(Pilot.link_token).where(col(Pilot.link_token).in_(tokens))))


def put_in(session: Session, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Add rows as they are, numbers and versions too. Raises RowsDoNotFitError."""
    if not rows:
        return
    try:
        session.execute(insert(_table(name)), [dict(row) for row in rows])
    except OperationalError:
        raise  # the database cannot write now, whatever the rows
    except StatementError as error:
        raise RowsDoNotFitError(str(error.orig).splitlines()[0]) from error
    if "id" in rows[0] and session.get_bind().dialect.name == "postgresql":
        table = _table(name)
        highest = select(func.max(table.c.id)).scalar_subquery()
        session.execute(select(func.setval(f"{table.name}_id_seq", highest)))


def set_flying(session: Session, aircraft_of_pilots: Mapping[int, int]) -> None:
    """Which aircraft each pilot flies, once both are there; no pilot counts as changed by it."""
    table = _table("pilots")
    for pilot_id, aircraft_id in aircraft_of_pilots.items():
        session.execute(update(table).where(table.c.id == pilot_id).values(flying_aircraft_id=aircraft_id))


def _table(name: str) -> Table:
    return TABLES[name].__table__  # type: ignore[attr-defined]
