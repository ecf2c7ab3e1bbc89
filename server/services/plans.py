"""The published plans of a day: each a snapshot that nothing changes, under the number it went out with."""

import json
from datetime import datetime

from sqlmodel import Session

from server.services import channel_confirmation, draft_changes, drafts, snapshots
from server.services.days import can_publish
from server.services.draft_changes import StaleDraftError
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.plan_basis import day_problem
from server.services.roles import acting
from server.services.snapshots import Snapshot
from server.services.standings import Standing, day_id, standing
from server.storage import drafts as stored_drafts
from server.storage import logbook, published_plans
from server.storage.tables import FieldDay, PublishedPlan
from server.wording import decimal
from server.wording import gettext as _

__all__ = ["bring_back", "day_problem", "history", "publish", "published_plan"]

PUBLISHED = "plan published"
ENTRIES_LOOKED_AT = 40


class AlreadyPublishedError(OvertakenError):
    """This very draft was published meanwhile, by another director or by a second press."""


def published_plan(session: Session, day: FieldDay, number: int) -> Snapshot:
    """A published plan as it was stored. Raises NotFoundError."""
    plan = published_plans.numbered(session, day_id(day), number)
    if plan is None:
        raise NotFoundError(_("This day has no plan %(number)s.", number=number))
    return published_plans.facts(plan)


def history(session: Session, day: FieldDay) -> list[PublishedPlan]:
    """Every published plan of the day, the newest first."""
    return published_plans.newest_first(session, day_id(day))


def bring_back(session: Session, day: FieldDay, version: int, number: int, at: datetime) -> None:
    """Make a published plan the draft. Raises NotFoundError or StaleDraftError."""
    draft_changes.bring_back(session, day, version, published_plan(session, day, number), at)


def publish(
    session: Session, day: FieldDay, version: int, seen: str, answers_for: bool, at: datetime
) -> PublishedPlan:
    """Publish the draft exactly as it was seen, under the next number.

    seen         `DraftNow.seen` of the page on which the button was pressed
    answers_for  the director publishes although rules of the day are broken

    Raises RefusedError while the day does not allow it, StaleDraftError if the draft is another by now,
    AlreadyPublishedError if this very draft was published meanwhile, InputError if nobody answers for broken
    rules.
    """
    if reason := can_publish(day):
        raise RefusedError(reason)
    now = standing(session, day)
    draft = now.draft
    if draft.version != version:
        _refuse_twice(session, day, version)
        raise StaleDraftError(
            draft_changes.changes_since(session, day, version),
            _("Publish plan %(number)s.", number=now.next_number),
        )
    if not now.is_ahead:
        raise RefusedError(_("There is nothing to publish: the draft says what is published already."))
    if draft.seen != seen:
        raise OvertakenError(
            _(
                "Not published: the roster or the site changed since this page was loaded, and the numbers "
                "below are new. Look at them, then publish."
            )
        )
    if draft.faults.forbidden:
        raise RefusedError(" ".join((_("Not published."), *draft.faults.forbidden)))
    if draft.faults.broken and not answers_for:
        raise InputError({"answers_for": _("Mend what is named here, or tick that you answer for it.")})
    return _publish(session, day, now, at)


def _publish(session: Session, day: FieldDay, now: Standing, at: datetime) -> PublishedPlan:
    replaces = now.published["number"] if now.published else None
    advised = snapshots.with_advice(now.draft.snapshot, now.draft.content, now.draft.basis)
    snapshot = snapshots.published(advised, now.next_number, replaces, at, acting(session))
    all_the_same = [_("Published all the same: %(fault)s", fault=fault) for fault in now.draft.faults.broken]
    snapshot["warnings"] = [*all_the_same, *snapshot["warnings"]]
    plan = published_plans.publish(
        session,
        day_id(day),
        json.dumps(snapshot, ensure_ascii=False, allow_nan=False),
        snapshot["model_version"],
        at,
        acting(session),
    )
    row = stored_drafts.of_day(session, day_id(day))
    assert row is not None  # a draft that nobody stored says what is published, which was refused
    of_version = row.version
    row.content_json, row.result_json = drafts.as_json(now.draft.content), now.draft.snapshot_json
    row.undo_json, row.based_on_number, row.updated_at = "[]", plan.number, at
    session.flush()
    facts = {
        "number": plan.number,
        "replaces": replaces,
        "of_version": of_version,
        "draft_version": row.version,
    }
    channel_confirmation.void_where_moved(session, day)
    published = _("Published plan %(number)s: %(size)s.", number=plan.number, size=_size_words(snapshot))
    text = " ".join((published, *all_the_same))
    logbook.append(session, day_id(day), acting(session), PUBLISHED, text, facts, at)
    return plan


def _refuse_twice(session: Session, day: FieldDay, version: int) -> None:
    """Two directors pressed at once: what the second one saw is out already."""
    for entry in logbook.newest_first(session, day_id(day), ENTRIES_LOOKED_AT):
        facts = json.loads(entry.data_json)
        if entry.action == PUBLISHED and facts["of_version"] == version:
            raise AlreadyPublishedError(
                _("Plan %(number)s is published already, from this very draft.", number=facts["number"])
            )


def _size_words(snapshot: Snapshot) -> str:
    slots = [slot for heat in snapshot["heats"] for slot in heat["slots"]]
    people, heats = len({slot["pilot_id"] for slot in slots}), len(snapshot["heats"])
    size = drafts.size_words(people, heats)
    worst_db = snapshot["worst_margin_db"]
    if worst_db is None:
        return size
    return _("%(size)s, worst margin %(worst)s dB", size=size, worst=decimal(worst_db, 1, signed=True))
