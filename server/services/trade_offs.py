"""When the day changes: what the planner is asked about the heats ahead, and what becomes of a row.

The question starts from the draft's heats and from what every transmitter is set to: the published channel, else
the provisional one. A row that is picked becomes the draft; it is published like any other.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from sqlmodel import Session

from server.allocator.changes import ChangedDay, TradeOff
from server.allocator.plan import Heat, Slot
from server.allocator.problem import Pilot
from server.allocator.provisional import TARGET_POWER_MW
from server.allocator.rest import RestOfDay
from server.services import draft_changes
from server.services.drafts import DraftContent, DraftHeat, DraftSlot, PlannerFacts
from server.services.edits import Edited, channel_words
from server.services.errors import OvertakenError, RefusedError
from server.services.jobs import Job, Jobs, KeepGoing
from server.services.plan_basis import PlanBasis
from server.services.standings import DraftNow, day_id
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import listed, ngettext

CHANGE = "change"

TradeOffs = Callable[[RestOfDay, KeepGoing], ChangedDay]


@dataclass(frozen=True)
class ChangeQuestion:
    """What the planner was asked.

    joining  pilots, by id, who have no slot and are to get one
    event    what happened, as a sentence
    undo     the form that takes it back, empty where the draft's own undo does
    """

    field_day_id: int
    rest: RestOfDay
    joining: tuple[int, ...]
    event: str
    undo: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ChangeAnswer:
    question: ChangeQuestion
    changed: ChangedDay


def ask(
    day: FieldDay,
    draft: DraftNow,
    joining: Collection[int],
    event: str,
    undo: Mapping[str, str] | None = None,
) -> ChangeQuestion:
    """The question of a day as it stands. Raises RefusedError where there is nothing ahead to change."""
    if not draft.content.heats:
        raise RefusedError(_("There is no plan yet that could change. Plan channels first."))
    if len(draft.content.heats) <= day.flown_heats:
        raise RefusedError(_("All heats have been flown: nothing is ahead that could change."))
    rest = rest_of(draft.content, draft.basis, joining)
    return ChangeQuestion(day_id(day), rest, tuple(sorted(joining)), event, undo or {})


def start(jobs: Jobs, question: ChangeQuestion, trade_offs: TradeOffs) -> Job:
    """Work the rows out in a thread. Raises RefusedError while another job of the day runs."""

    def work(keep_going: KeepGoing) -> ChangeAnswer:
        return ChangeAnswer(question, trade_offs(question.rest, keep_going))

    return jobs.start(question.field_day_id, CHANGE, work)


def rest_of(content: DraftContent, basis: PlanBasis, joining: Collection[int]) -> RestOfDay:
    """The rest of a draft, with those who join it."""
    flying = {slot.pilot_id for heat in content.heats[basis.flown :] for slot in heat.slots} | set(joining)
    pilots = tuple(pilot for pilot_id, pilot in basis.pilots.items() if pilot_id in flying)
    heats = tuple(_heat(number, heat, basis) for number, heat in enumerate(content.heats, start=1))
    given = tuple(tuple(slot.callsign for slot in heat.slots) for heat in heats)
    problem = replace(
        basis.problem, pilots=pilots, heats_given=_of(pilots, given) if content.are_heats_given else None
    )
    common_mw = content.common_power_mw or basis.problem.common_power_mw
    return RestOfDay(
        problem, heats, basis.flown + 1, TARGET_POWER_MW if common_mw == "auto" else common_mw, basis.down
    )


def is_current(question: ChangeQuestion, draft: DraftNow) -> bool:
    """Whether the day is still the one that was asked about."""
    joining = set(question.joining)
    if not joining <= set(draft.basis.pilots):
        return False
    return rest_of(draft.content, draft.basis, joining) == question.rest


def take(
    session: Session, day: FieldDay, version: int, answer: ChangeAnswer, place: int, at: datetime
) -> None:
    """Make a row, by its place, the draft. Raises OvertakenError if the day is another by now."""
    if not 0 <= place < len(answer.changed.rows):
        raise OvertakenError(_("This row is gone: look again what the change costs."))
    row = answer.changed.rows[place]

    def change(content: DraftContent, basis: PlanBasis) -> Edited:
        if rest_of(content, basis, answer.question.joining) != answer.question.rest:
            raise OvertakenError(
                _("The day changed since these rows were worked out: look again what it costs.")
            )
        return _taken(content, basis, row)

    draft_changes.edit(session, day, version, change, at)


def row_words(row: TradeOff, pilots: Mapping[str, Pilot]) -> list[str]:
    """Who joins and who moves from what to what, in sentences without their points.

    pilots  by callsign
    """
    words = [
        _(
            "%(callsign)s joins %(heats)s on %(channel)s",
            callsign=one.callsign,
            heats=_heats(one.heats),
            channel=channel_words(pilots[one.callsign], one.mhz),
        )
        for one in row.joins
    ]
    words += [
        _(
            "%(callsign)s moves from %(before)s to %(after)s",
            callsign=one.callsign,
            before=channel_words(pilots[one.callsign], one.from_mhz),
            after=channel_words(pilots[one.callsign], one.to_mhz),
        )
        for one in row.moves
    ]
    if row.extra_heats:
        new = ngettext(
            "%(heats)s is new; those behind get higher numbers",
            "%(heats)s are new; those behind get higher numbers",
            len(row.extra_heats),
            heats=_heats(row.extra_heats),
        )
        words.append(f"{new[:1].upper()}{new[1:]}")
    return words


def _taken(content: DraftContent, basis: PlanBasis, row: TradeOff) -> Edited:
    ids = basis.ids()
    ahead = tuple(
        DraftHeat(
            heat.round,
            tuple(DraftSlot(ids[slot.callsign], slot.mhz, slot.power_mw) for slot in heat.slots),
            heat.proved,
        )
        for heat in row.heats
    )
    if row.is_proved:
        proof = ngettext(
            "The day changed: with these pilots in these heats and %(number)s moved, no channels are better.",
            "The day changed: with these pilots in these heats and %(number)s moved, no channels are better.",
            row.moved,
        )
    else:
        proof = ngettext(
            "The day changed: the best that was found with %(number)s moved; it is not proved.",
            "The day changed: the best that was found with %(number)s moved; it is not proved.",
            row.moved,
        )
    facts = PlannerFacts("feasible", None, None, 0, 0.0, search_notes=(proof,))
    words = row_words(row, {pilot.callsign: pilot for pilot in basis.pilots.values()})
    text = f"{'. '.join([*words, *([] if row.moves else [_('Nobody moves')])])}."
    return Edited(replace(content, heats=(*content.heats[: basis.flown], *ahead), planner=facts), text)


def _heat(number: int, heat: DraftHeat, basis: PlanBasis) -> Heat:
    slots = tuple(
        Slot(basis.pilots[slot.pilot_id].callsign, slot.mhz, slot.power_mw)
        for slot in heat.slots
        if slot.pilot_id in basis.pilots
    )
    return Heat(number, heat.round, slots, None, None, heat.is_proved)


def _of(pilots: tuple[Pilot, ...], heats: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    flying = {pilot.callsign for pilot in pilots}
    return tuple(kept for heat in heats if (kept := tuple(name for name in heat if name in flying)))


def _heats(numbers: tuple[int, ...]) -> str:
    names = listed(str(number) for number in numbers)
    return ngettext("heat %(numbers)s", "heats %(numbers)s", len(numbers), numbers=names)
