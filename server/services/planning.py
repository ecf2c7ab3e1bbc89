"""The planner at work on a day: the question it is asked, and what becomes of the answer.

The answer is kept as the draft only if it still fits: the same roster, site and draft as when it was asked.
Otherwise both are offered, with what changed meanwhile.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import datetime

from sqlmodel import Session

from server.allocator.plan import CompareRow, DayPlan
from server.allocator.problem import DayProblem
from server.services import drafts
from server.services.draft_changes import keep_planned
from server.services.drafts import DraftContent
from server.services.errors import RefusedError
from server.services.jobs import Job, Jobs, KeepGoing
from server.services.plan_basis import PlanBasis, with_heats, without_absent
from server.services.snapshots import with_advice
from server.services.standings import day_id, open_draft, standing, version_of
from server.storage import days
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.wording import decimal
from server.wording import gettext as _

PLAN, COMPARE = "plan", "compare"

PlanDay = Callable[[DayProblem, KeepGoing], DayPlan]
HowManyCanFly = Callable[[DayProblem, float, KeepGoing], tuple[CompareRow, ...]]
Clock = Callable[[], datetime]


@dataclass(frozen=True)
class Question:
    """What the planner was asked, and of which draft.

    version  of the draft; 0 where there was none
    """

    field_day_id: int
    problem: DayProblem
    version: int
    are_heats_given: bool


@dataclass(frozen=True)
class Answer:
    """What came of it.

    is_kept   the plan is the draft now
    meanwhile what changed while the planner worked; the plan then waits for a decision
    """

    question: Question
    plan: DayPlan
    is_kept: bool = False
    meanwhile: tuple[str, ...] = ()


@dataclass(frozen=True)
class Comparison:
    problem: DayProblem
    rows: tuple[CompareRow, ...]


def ask(session: Session, day: FieldDay, are_heats_given: bool = False) -> Question:
    """The question of a day as it stands. Raises RefusedError with nobody to plan for, or once heats are flown."""
    row, stored, basis = open_draft(session, day)
    check_nothing_flown(day)
    if not basis.pilots:
        raise RefusedError(_("There is nobody to plan for: check the pilots in first."))
    problem = basis.problem
    if are_heats_given:
        content = without_absent(stored, basis)
        if not content.pilot_ids():
            raise RefusedError(_("There are no heats to keep: build one by typing callsigns first."))
        problem = with_heats(basis, content)
    return Question(day_id(day), problem, version_of(row), are_heats_given)


def check_nothing_flown(day: FieldDay) -> None:
    """Raises RefusedError once a heat was flown: a plan of the whole day would rewrite it."""
    if day.flown_heats:
        raise RefusedError(
            _(
                "Heats have been flown, and a new plan of the whole day would rewrite them. Say under “The "
                "day changes” what happened, or set the next heat to 1 if nothing was flown."
            )
        )


def start_planning(
    database: Database, jobs: Jobs, question: Question, plan_day: PlanDay, clock: Clock
) -> Job:
    """Plan in a thread. Raises RefusedError while another job of the day runs."""

    def work(keep_going: KeepGoing) -> Answer:
        plan = plan_day(question.problem, keep_going)
        answer = _conclude(database, question, plan, clock())
        if answer.is_kept:
            _look_ahead(database, question)
        return answer

    return jobs.start(question.field_day_id, PLAN, work)


def start_comparing(
    jobs: Jobs, question: Question, heat_minutes: float, how_many_can_fly: HowManyCanFly
) -> Job:
    """Work out in a thread how many can fly at once. Raises RefusedError while another job of the day runs."""

    def work(keep_going: KeepGoing) -> Comparison:
        return Comparison(question.problem, how_many_can_fly(question.problem, heat_minutes, keep_going))

    return jobs.start(question.field_day_id, COMPARE, work)


def keep_all_the_same(session: Session, day: FieldDay, version: int, answer: Answer, at: datetime) -> None:
    """Take a plan that was overtaken as the draft, without those who cannot fly any more.

    Raises StaleDraftError if the draft changed since both were offered.
    """
    check_nothing_flown(day)
    stored, basis = open_draft(session, day)[1:]
    content = _as_content(answer, stored, basis)
    keep_planned(session, day, version, content, planned_words(answer.plan), at)


def planned_words(plan: DayPlan) -> str:
    pilots = len({slot.callsign for heat in plan.heats for slot in heat.slots})
    size = drafts.size_words(pilots, len(plan.heats))
    if plan.worst_margin_db is None:
        return _("Planned %(size)s.", size=size)
    worst = decimal(plan.worst_margin_db, 1, signed=True)
    return _("Planned %(size)s, worst margin %(worst)s dB.", size=size, worst=worst)


def what_changed(before: DayProblem, after: DayProblem) -> list[str]:
    """Two questions of one day compared, in sentences."""
    old = {pilot.callsign: pilot for pilot in before.pilots}
    new = {pilot.callsign: pilot for pilot in after.pilots}
    found = [_("%(callsign)s came in.", callsign=callsign) for callsign in new if callsign not in old]
    found += [_("%(callsign)s left.", callsign=callsign) for callsign in old if callsign not in new]
    found += [
        _("%(callsign)s's gear, channel or wishes changed.", callsign=callsign)
        for callsign, pilot in new.items()
        if callsign in old and pilot != old[callsign]
    ]
    others = [one.name for one in fields(DayProblem) if one.name not in ("pilots", "heats_given")]
    if any(getattr(before, name) != getattr(after, name) for name in others):
        found.append(_("The site, the rules or the number of aircraft changed."))
    return found


def _conclude(database: Database, question: Question, plan: DayPlan, at: datetime) -> Answer:
    if not plan.heats:
        return Answer(question, plan)
    with database.write() as session:
        day = days.by_id(session, question.field_day_id)
        assert day is not None  # days are archived, never deleted
        row, stored, basis = open_draft(session, day)
        meanwhile = what_changed(question.problem, _now_asked(question, stored, basis))
        if version_of(row) != question.version:
            meanwhile.append(_("The draft was changed by hand."))
        if day.flown_heats:
            meanwhile.append(_("Heats were flown."))
        answer = Answer(question, plan, is_kept=not meanwhile, meanwhile=tuple(meanwhile))
        if answer.is_kept:
            content = _as_content(answer, stored, basis)
            keep_planned(session, day, question.version, content, planned_words(plan), at)
    return answer


def _look_ahead(database: Database, question: Question) -> None:
    """Work out what would help each slot, which `advise` then keeps: here nobody waits, at the publish all do."""
    with database.read() as session:
        day = days.by_id(session, question.field_day_id)
        assert day is not None
        draft = standing(session, day).draft
    with_advice(draft.snapshot, draft.content, draft.basis)


def _now_asked(question: Question, stored: DraftContent, basis: PlanBasis) -> DayProblem:
    return with_heats(basis, without_absent(stored, basis)) if question.are_heats_given else basis.problem


def _as_content(answer: Answer, stored: DraftContent, basis: PlanBasis) -> DraftContent:
    """The plan by pilot id; who is off the roster by now is left out."""
    ids = {pilot.callsign: -place for place, pilot in enumerate(answer.question.problem.pilots, start=1)}
    content = drafts.from_plan(answer.plan, ids | basis.ids(), stored, answer.question.are_heats_given)
    return without_absent(content, basis)
