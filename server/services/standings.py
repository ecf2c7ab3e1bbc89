"""Where a day stands: the draft as it is at this moment, what is published, and how the two differ.

A draft keeps who flies when, on what; its margins are computed anew whenever it is looked at, so gear that was
corrected at the desk shows at once. A published plan is read back exactly as it was stored.
"""

import hashlib
import json
from dataclasses import dataclass
from functools import cached_property

from sqlmodel import Session

from server.services import differences, down_transmitters, draft_undo, drafts, snapshots
from server.services.drafts import DraftContent
from server.services.margin_words import least
from server.services.plan_basis import PlanBasis, basis_of, without_absent
from server.services.plan_faults import Faults, faults
from server.services.snapshots import Snapshot
from server.storage import drafts as stored_drafts
from server.storage import pilots, published_plans
from server.storage.tables import CHECKED_IN, NO_SHOW, Draft, FieldDay
from server.wording import gettext as _
from server.wording import listed, marked, ngettext

SHIFT_SHOWN_DB = 0.05
"""A margin that differs by less from the published one is shown as the same."""


@dataclass(frozen=True)
class DraftNow:
    """A draft as it stands at this moment.

    version  to send with every change; 0 until it is stored for the first time
    absent   who stands in the stored draft and cannot fly any more, as sentences
    seen     changes with every fact that the page shows; sent with the wish to publish
    undo     what undo would take back, as a sentence; None when there is nothing
    """

    version: int
    content: DraftContent
    basis: PlanBasis
    snapshot: Snapshot
    faults: Faults
    absent: tuple[str, ...]
    undo: str | None
    based_on: int | None

    @cached_property
    def snapshot_json(self) -> str:
        return json.dumps(self.snapshot)

    @cached_property
    def seen(self) -> str:
        return hashlib.sha256(self.snapshot_json.encode()).hexdigest()[:16]


_STATE_WORDS = {NO_SHOW: marked("a no-show")}


@dataclass(frozen=True)
class Standing:
    """Where a day stands.

    published     the latest published plan, as it was stored
    differences   what the draft changes against it, as sentences
    is_ahead      the draft says something else than what is published
    shift_db      how far today's gear and site move the worst margin of unchanged slots
    left_out      callsigns of pilots who are checked in and fly in no heat of the draft
    """

    day: FieldDay
    published: Snapshot | None
    draft: DraftNow
    differences: tuple[str, ...]
    changed_slots: int
    shift_db: float | None
    left_out: tuple[str, ...]
    next_number: int

    @property
    def is_ahead(self) -> bool:
        if not self.draft.content.heats:
            return False
        return self.published is None or self.changed_slots > 0 or self.shift_db is not None


def standing(session: Session, day: FieldDay) -> Standing:
    published = latest_snapshot(session, day)
    draft = draft_now(session, day, published)
    changed = differences.changed_slots(published, draft.snapshot) if published else 0
    return Standing(
        day=day,
        published=published,
        draft=draft,
        differences=tuple(differences.sentences(published, draft.snapshot)) if published else (),
        changed_slots=changed,
        shift_db=_shift_db(published, draft.snapshot, day.flown_heats) if published and not changed else None,
        left_out=_left_out(draft),
        next_number=published["number"] + 1 if published else 1,
    )


def draft_mark(session: Session, day: FieldDay) -> tuple[str, str]:
    """What every page of the director shows at its top: "published" or "draft", and the words."""
    latest = published_plans.latest(session, day_id(day))
    row = stored_drafts.of_day(session, day_id(day))
    result = json.loads(row.result_json) if row else {}
    if latest is None:
        is_begun = bool(result.get("heats"))
        return "draft", _("A draft, nothing is published") if is_begun else _("Nothing is published")
    changed = differences.changed_slots(published_plans.facts(latest), result) if result else 0
    if not changed:
        return "published", _("Plan %(number)s is live", number=latest.number)
    return "draft", ngettext(
        "Plan %(plan)s is live · draft differs in %(number)s slot",
        "Plan %(plan)s is live · draft differs in %(number)s slots",
        changed,
        plan=latest.number,
    )


def day_id(day: FieldDay) -> int:
    assert day.id is not None
    return day.id


def open_draft(session: Session, day: FieldDay) -> tuple[Draft | None, DraftContent, PlanBasis]:
    """The stored draft, its content (before any draft: what is published), and what it stands on."""
    row = stored_drafts.of_day(session, day_id(day))
    content = DraftContent()
    if row:
        content = drafts.from_json(row.content_json)
    published = latest_snapshot(session, day)
    if row is None and published:
        content = drafts.from_snapshot(published, content)
    content = drafts.with_flown(content, published, day.flown_heats)
    return row, content, basis_of(session, day, content)


def draft_now(session: Session, day: FieldDay, published: Snapshot | None) -> DraftNow:
    row, stored, basis = open_draft(session, day)
    content = without_absent(stored, basis)
    snapshot = snapshots.compose(day, content, basis, published)
    found = faults(day, content, basis, snapshot)
    # What has to be mended is told as that, not once more as a warning.
    snapshot["warnings"] = [warning for warning in snapshot["warnings"] if warning not in found.forbidden]
    top = draft_undo.popped(row.undo_json) if row else None
    return DraftNow(
        version=version_of(row),
        content=content,
        basis=basis,
        snapshot=snapshot,
        faults=found,
        absent=_absent(session, day, stored, basis),
        undo=top[0].text if top else None,
        based_on=row.based_on_number if row else None,
    )


def version_of(row: Draft | None) -> int:
    return row.version if row else 0


def latest_snapshot(session: Session, day: FieldDay) -> Snapshot | None:
    latest = published_plans.latest(session, day_id(day))
    return published_plans.facts(latest) if latest else None


def _absent(session: Session, day: FieldDay, stored: DraftContent, basis: PlanBasis) -> tuple[str, ...]:
    gone = stored.pilot_ids() - set(basis.pilots)
    states = {pilot.id: pilot for pilot in pilots.of_day(session, day_id(day))}
    down = {one.pilot_id for one in down_transmitters.still_on(session, day)}
    found = []
    for pilot_id in sorted(gone):
        heats = [str(slot[0]) for slot in stored.slots_of(pilot_id) if slot[0] > basis.flown]
        pilot = states.get(pilot_id)
        who, state = (pilot.callsign, pilot.state) if pilot else (_("A pilot"), marked("off the roster"))
        if pilot_id in down and state == CHECKED_IN:
            state = marked("down, still on")
        if heats:
            found.append(_empty_words(who, _(_STATE_WORDS.get(state, state)), heats))
    return tuple(found)


def _empty_words(who: str, state: str, heats: list[str]) -> str:
    return ngettext(
        "%(who)s is %(state)s: the slot in heat %(heats)s is empty.",
        "%(who)s is %(state)s: the slots in heats %(heats)s are empty.",
        len(heats),
        who=who,
        state=state,
        heats=listed(heats),
    )


def _left_out(draft: DraftNow) -> tuple[str, ...]:
    if not draft.content.heats:
        return ()
    flying = draft.content.pilot_ids()
    return tuple(pilot.callsign for pilot_id, pilot in draft.basis.pilots.items() if pilot_id not in flying)


def _shift_db(published: Snapshot, snapshot: Snapshot, flown: int) -> float | None:
    before, after = (
        least(heat["worst_margin_db"] for heat in one["heats"][flown:]) for one in (published, snapshot)
    )
    if before is None or after is None or abs(after - before) < SHIFT_SHOWN_DB:
        return None
    return after - before
