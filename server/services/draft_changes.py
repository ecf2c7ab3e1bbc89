"""Changes to a day's draft: edits by hand, the planner's answer, bans, undo, an older plan brought back.

Every change says which version of the draft it was made for. Where the draft is another by now, nothing is
changed and the error tells what happened meanwhile: nobody overwrites what they did not see.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.services import draft_undo, drafts, flown_heats
from server.services.days import settings_of
from server.services.draft_undo import Step
from server.services.drafts import DraftContent
from server.services.edits import Edited
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.plan_basis import PlanBasis, without_absent
from server.services.roles import acting
from server.services.snapshots import Snapshot
from server.services.standings import day_id, draft_now, latest_snapshot, open_draft, version_of
from server.storage import drafts as stored_drafts
from server.storage import logbook, published_plans
from server.storage.tables import Draft, FieldDay
from server.wording import gettext as _

Change = Callable[[DraftContent, PlanBasis], Edited]


class StaleDraftError(OvertakenError):
    """The draft is not the one that the page showed.

    since     what was done to it meanwhile, the oldest first
    intended  the change that was not made, as a sentence; empty if it could not be made any more
    """

    def __init__(self, since: list[str], intended: str) -> None:
        told = [_("The draft was changed since this page was loaded.")]
        if since:
            told.append(_("Meanwhile: %(changes)s", changes=" ".join(since)))
        if intended:
            told.append(_("Not made: %(change)s", change=intended))
        super().__init__(" ".join(told))
        self.since = since
        self.intended = intended


def edit(session: Session, day: FieldDay, version: int, change: Change, at: datetime) -> Edited:
    """Make one change to the draft. Raises StaleDraftError, and what the change itself raises."""
    row, stored, basis = open_draft(session, day)
    content = without_absent(stored, basis)
    if version_of(row) != version:
        raise StaleDraftError(changes_since(session, day, version), _intended(change, content, basis))
    edited = change(content, basis)
    edited = replace(edited, content=flown_heats.kept(content, edited.content, basis.flown))
    _save(session, day, row, edited.content, Step(edited.text, stored if row else None), "draft changed", at)
    return edited


def check_seen(session: Session, day: FieldDay, version: int, wish: str) -> None:
    """Raises StaleDraftError where the draft is not the one that the page showed; `wish` says what is not done."""
    row = stored_drafts.of_day(session, day_id(day))
    if version_of(row) != version:
        raise StaleDraftError(changes_since(session, day, version), wish)


def ban(session: Session, day: FieldDay, version: int, mhz: int, at: datetime) -> None:
    """Take a carrier out of use for the day; slots on it are named until they move."""
    bans = settings_of(day).bans
    if mhz in bans:
        raise InputError({"mhz": _("%(mhz)s MHz is out of use already.", mhz=mhz)})
    step = Step(_("%(mhz)s MHz is out of use today.", mhz=mhz), None, mhz)
    _change_bans(session, day, version, (*bans, mhz), step, at)


def lift_ban(session: Session, day: FieldDay, version: int, mhz: int, at: datetime) -> None:
    bans = settings_of(day).bans
    if mhz not in bans:
        raise InputError({"mhz": _("%(mhz)s MHz is in use already.", mhz=mhz)})
    left = tuple(one for one in bans if one != mhz)
    step = Step(_("%(mhz)s MHz is in use again.", mhz=mhz), None, None, mhz)
    _change_bans(session, day, version, left, step, at)


def fly(session: Session, day: FieldDay, aircraft: int, at: datetime) -> None:
    """Set how many fly at once; the next planning goes by it. Raises InputError."""
    if not 1 <= aircraft <= MOST_PILOTS_IN_A_HEAT:
        raise InputError({"aircraft": _("Give a number from 1 to %(most)s.", most=MOST_PILOTS_IN_A_HEAT)})
    if day.aircraft == aircraft:
        return
    text = _("%(number)s aircraft fly at once, not %(before)s.", number=aircraft, before=day.aircraft)
    day.aircraft = aircraft
    session.flush()
    logbook.append(session, day_id(day), acting(session), "aircraft chosen", text, {"aircraft": aircraft}, at)


def undo(session: Session, day: FieldDay, version: int, at: datetime) -> str:
    """Take back the newest change of the draft; returns what was taken back."""
    row = stored_drafts.of_day(session, day_id(day))
    top = draft_undo.popped(row.undo_json) if row else None
    if version_of(row) != version:
        wish = _("Undo: %(text)s", text=top[0].text) if top else ""
        raise StaleDraftError(changes_since(session, day, version), wish)
    if row is None or top is None:
        raise RefusedError(_("There is nothing to undo: no change was made since the plan was published."))
    step, left = top
    settings = settings_of(day)
    if step.banned_mhz is not None or step.allowed_mhz is not None:
        bans = {*settings.bans, *({step.allowed_mhz} - {None})} - {step.banned_mhz}
        _store_bans(day, tuple(mhz for mhz in bans if mhz is not None))
    text = _("Undone: %(text)s", text=step.text)
    _write(session, day, row, step.before or DraftContent(), left, "draft undone", text, at)
    return text


def keep_planned(
    session: Session, day: FieldDay, version: int, content: DraftContent, text: str, at: datetime
) -> None:
    """Take the planner's answer as the draft. Raises StaleDraftError."""
    row, stored = open_draft(session, day)[:2]
    if version_of(row) != version:
        raise StaleDraftError(changes_since(session, day, version), text)
    _save(session, day, row, content, Step(text, stored if row else None), "draft planned", at)


def bring_back(session: Session, day: FieldDay, version: int, snapshot: Snapshot, at: datetime) -> None:
    """Make a published plan the draft. Raises StaleDraftError."""
    number = snapshot["number"]
    row, stored, basis = open_draft(session, day)
    text = _("Plan %(number)s is brought back as the draft.", number=number)
    if version_of(row) != version:
        raise StaleDraftError(changes_since(session, day, version), text)
    content = without_absent(drafts.from_snapshot(snapshot, stored), basis)
    saved = _save(session, day, row, content, Step(text, stored if row else None), "plan brought back", at)
    saved.based_on_number = number
    session.flush()


def changes_since(session: Session, day: FieldDay, version: int) -> list[str]:
    """What was done to the draft after a version of it, the oldest first."""
    entries = logbook.newest_first(session, day_id(day), draft_undo.STEPS_KEPT)
    return [
        entry.text
        for entry in reversed(entries)
        if json.loads(entry.data_json).get("draft_version", 0) > version
    ]


def _intended(change: Change, content: DraftContent, basis: PlanBasis) -> str:
    try:
        edited = change(content, basis)
        flown_heats.kept(content, edited.content, basis.flown)
    except (InputError, OvertakenError, RefusedError):
        return ""
    return edited.text


def _save(
    session: Session,
    day: FieldDay,
    row: Draft | None,
    content: DraftContent,
    step: Step,
    action: str,
    at: datetime,
) -> Draft:
    undo_json = draft_undo.pushed(row.undo_json if row else "[]", step)
    return _write(session, day, row, content, undo_json, action, step.text, at)


def _write(
    session: Session,
    day: FieldDay,
    row: Draft | None,
    content: DraftContent,
    undo_json: str,
    action: str,
    text: str,
    at: datetime,
) -> Draft:
    if row is None:
        latest = published_plans.latest(session, day_id(day))
        based_on = latest.number if latest else None
        row = stored_drafts.add(
            session,
            Draft(field_day_id=day_id(day), content_json="", based_on_number=based_on, updated_at=at),
        )
    row.content_json, row.undo_json, row.updated_at = drafts.as_json(content), undo_json, at
    session.flush()
    row.result_json = json.dumps(draft_now(session, day, latest_snapshot(session, day)).snapshot)
    session.flush()
    logbook.append(session, day_id(day), acting(session), action, text, {"draft_version": row.version}, at)
    return row


def _change_bans(
    session: Session, day: FieldDay, version: int, bans: tuple[int, ...], step: Step, at: datetime
) -> None:
    row, stored = open_draft(session, day)[:2]
    if version_of(row) != version:
        raise StaleDraftError(changes_since(session, day, version), step.text)
    _store_bans(day, bans)
    session.flush()
    _save(session, day, row, stored, replace(step, before=stored if row else None), "channel banned", at)


def _store_bans(day: FieldDay, bans: tuple[int, ...]) -> None:
    day.settings_json = settings_of(day).model_copy(update={"bans": tuple(sorted(bans))}).model_dump_json()
