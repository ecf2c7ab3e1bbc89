import json
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from server.storage.tables import PublishedPlan


def publish(
    session: Session,
    field_day_id: int,
    snapshot_json: str,
    model_version: str,
    published_at: datetime,
    published_by: str,
) -> PublishedPlan:
    """Store the snapshot under the day's next number; it replaces the plan that was the latest."""
    before = latest(session, field_day_id)
    plan = PublishedPlan(
        field_day_id=field_day_id,
        number=before.number + 1 if before else 1,
        snapshot_json=snapshot_json,
        model_version=model_version,
        published_at=published_at,
        published_by=published_by,
        replaces_number=before.number if before else None,
    )
    session.add(plan)
    session.flush()
    return plan


def facts(plan: PublishedPlan) -> dict[str, Any]:
    """What the plan says. Shared by all who read it, so nobody may change it."""
    return facts_of(plan.snapshot_json)


@lru_cache(maxsize=8)
def facts_of(snapshot_json: str) -> dict[str, Any]:
    """What a stored plan says: most of a megabyte on a crowded day, with which every page and every state begins.

    Kept by its text and not by its number, since names can be taken out of a plan.
    """
    read: dict[str, Any] = json.loads(snapshot_json)
    return read


def latest(session: Session, field_day_id: int) -> PublishedPlan | None:
    """Read once in a session, however often it is asked for: its text is most of a megabyte."""
    of_the_day = select(PublishedPlan.id).where(col(PublishedPlan.field_day_id) == field_day_id)
    newest = session.exec(of_the_day.order_by(col(PublishedPlan.number).desc()).limit(1)).first()
    if newest is None:
        return None
    held: dict[int, PublishedPlan | None] = session.info.setdefault("published plans", {})
    if newest not in held:
        held[newest] = session.get(PublishedPlan, newest)
    return held[newest]


def newest_first(session: Session, field_day_id: int) -> list[PublishedPlan]:
    return list(session.exec(_newest_first(field_day_id)))


def numbered(session: Session, field_day_id: int, number: int) -> PublishedPlan | None:
    return session.exec(_newest_first(field_day_id).where(col(PublishedPlan.number) == number)).first()


def _newest_first(field_day_id: int) -> SelectOfScalar[PublishedPlan]:
    of_the_day = select(PublishedPlan).where(col(PublishedPlan.field_day_id) == field_day_id)
    return of_the_day.order_by(col(PublishedPlan.number).desc())
