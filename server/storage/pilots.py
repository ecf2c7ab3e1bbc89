from collections import defaultdict
from collections.abc import Collection
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from server.storage.tables import PILOT_STATES, Aircraft, Pilot


def add(session: Session, pilot: Pilot) -> Pilot:
    session.add(pilot)
    session.flush()
    return pilot


def add_aircraft(session: Session, aircraft: Aircraft) -> Aircraft:
    session.add(aircraft)
    session.flush()
    return aircraft


def of_day(session: Session, field_day_id: int, states: Collection[str] = PILOT_STATES) -> list[Pilot]:
    """The day's pilots in the order they came."""
    of_the_day = select(Pilot).where(col(Pilot.field_day_id) == field_day_id, col(Pilot.state).in_(states))
    return list(session.exec(of_the_day.order_by(col(Pilot.id))))


def by_id(session: Session, field_day_id: int, pilot_id: int) -> Pilot | None:
    """The pilot, but only on this day: an address made of two days finds nobody."""
    wanted = select(Pilot).where(col(Pilot.field_day_id) == field_day_id, col(Pilot.id) == pilot_id)
    return session.exec(wanted).first()


def by_callsign_key(session: Session, field_day_id: int, callsign_key: str) -> Pilot | None:
    wanted = select(Pilot).where(
        col(Pilot.field_day_id) == field_day_id, col(Pilot.callsign_key) == callsign_key
    )
    return session.exec(wanted).first()


def by_link_token(session: Session, link_token: str) -> Pilot | None:
    return session.exec(select(Pilot).where(col(Pilot.link_token) == link_token)).first()


def by_join_id(session: Session, field_day_id: int, join_id: str) -> Pilot | None:
    wanted = select(Pilot).where(col(Pilot.field_day_id) == field_day_id, col(Pilot.join_id) == join_id)
    return session.exec(wanted).first()


def count_joined_since(session: Session, field_day_id: int, since: datetime) -> int:
    """How many pilots checked in by themselves, from a phone, after that moment."""
    joined = (
        select(func.count())
        .select_from(Pilot)
        .where(
            col(Pilot.field_day_id) == field_day_id,
            col(Pilot.join_id).is_not(None),
            col(Pilot.created_at) > since,
        )
    )
    return session.exec(joined).one()


def aircraft_of(session: Session, pilot_id: int) -> list[Aircraft]:
    """The pilot's aircraft, the main one first."""
    own = select(Aircraft).where(col(Aircraft.pilot_id) == pilot_id)
    return list(session.exec(own.order_by(col(Aircraft.position), col(Aircraft.id))))


def aircraft_of_day(session: Session, field_day_id: int) -> dict[int, list[Aircraft]]:
    """All aircraft of a day by pilot id, the main one first, in one query."""
    of_the_day = select(Aircraft).join(Pilot, col(Aircraft.pilot_id) == col(Pilot.id))
    of_the_day = of_the_day.where(col(Pilot.field_day_id) == field_day_id)
    by_pilot: defaultdict[int, list[Aircraft]] = defaultdict(list)
    for aircraft in session.exec(of_the_day.order_by(col(Aircraft.position), col(Aircraft.id))):
        by_pilot[aircraft.pilot_id].append(aircraft)
    return dict(by_pilot)
