"""The channel plan: what its page receives, gathered from where the day stands and from its jobs."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, ClassVar

from sqlmodel import Session

from server.allocator.plan import CompareRow
from server.radio.grade import grade_word, picture_grade
from server.services import plans
from server.services.cures import CAN_BE_CARRIED_OUT
from server.services.days import can_publish, rule_set_of, settings_of
from server.services.drafts import as_day_plan
from server.services.jobs import Job, Jobs
from server.services.margin_chart import MarginPicture, margin_picture
from server.services.planning import COMPARE, PLAN, Answer, Comparison
from server.services.power_choice import PowerTable, power_table
from server.services.site_fields import labels
from server.services.snapshots import Snapshot, worst_span
from server.services.standings import Standing, day_id, standing
from server.services.trade_offs import CHANGE
from server.storage.tables import FieldDay
from server.web.live_mark import LiveMark, live_mark
from server.web.open_slot import OpenSlot, open_slot, open_stored_slot, shown_now
from server.web.outside_pages import OutsidePanel, outside_panel
from server.web.plan_changes import ChangesPanel, changes_panel
from server.web.plan_editor import SlotEditor, slot_editor
from server.web.spectrum_pages import Spectrum, draft_spectrum, stored_spectrum
from server.web.templating import Page
from server.wording import decimal, marked
from server.wording import gettext as _

MarginsOf = Callable[[Snapshot], MarginPicture | None]
GradeOf = Callable[[float | None], tuple[float, str]]


def grade_of(margin_db: float | None) -> tuple[float, str]:
    """Picture grade of a margin, and its word."""
    grade = picture_grade(margin_db)
    return grade, grade_word(grade)


@dataclass(frozen=True)
class PastPlan:
    number: int
    published_at: datetime


@dataclass(frozen=True)
class JobView:
    """A job as `_job.html` shows it; `stage` is running, failed, cancelled, infeasible or overtaken."""

    stage: str
    number: int
    kind: str
    words: str = ""
    answer: Answer | None = None


@dataclass(frozen=True)
class Told:
    """Why the last act was not done, and its form to make it now where it still can be."""

    text: str
    again: Mapping[str, str] | None = None


@dataclass(frozen=True)
class PlanPage(Page):
    """`shown` is the draft where it says something new, else what is published; None before both.

    errors  sentences by field of the form that could not be taken, whose text is in `form`
    was     the published channel of pilots who move, by pilot id
    span           grades of the worst picture with receivers poorer and better than assumed
    rules_allow    transmitters at once, None where the rules chosen set no number
    one_heat_more  aircraft at once with one more heat a round, 0 where that is not possible
    """

    template: ClassVar[str] = "plan/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    now: Standing
    shown: Snapshot | None
    pilots: int
    bans: Sequence[int]
    was: Mapping[int, str]
    span: tuple[float, float] | None
    opened: OpenSlot | None
    spectrum: Spectrum | None
    editor: SlotEditor | None
    job: JobView | None
    compare: Sequence[CompareRow] | None
    rules_allow: int | None
    history: Sequence[PastPlan]
    refusal: str | None
    one_heat_more: int
    powers: PowerTable | None
    published_at: datetime | None
    changes: ChangesPanel | None
    outside: OutsidePanel
    told: Told | None = None
    can_be_carried_out: Collection[str] = frozenset(CAN_BE_CARRIED_OUT)
    form: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=labels)
    grade_of: GradeOf = grade_of
    margins_of: MarginsOf = margin_picture


@dataclass(frozen=True)
class JobFragment(Page):
    template: ClassVar[str] = "plan/_job.html"
    day: FieldDay
    job: JobView


@dataclass(frozen=True)
class PublishedPlanPage(Page):
    """One published plan, as it was stored."""

    template: ClassVar[str] = "plan/published.html"
    day: FieldDay
    tab: str
    live: LiveMark
    shown: Snapshot
    version: int
    published_at: datetime
    is_latest: bool
    was: Mapping[int, str]
    span: tuple[float, float] | None
    opened: OpenSlot | None
    spectrum: Spectrum | None
    labels: Mapping[str, str] = field(default_factory=labels)
    grade_of: GradeOf = grade_of
    margins_of: MarginsOf = margin_picture


def plan_page(
    session: Session,
    day: FieldDay,
    jobs: Jobs,
    chosen: tuple[int, int] | None = None,
    told: Told | None = None,
    form: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    spectrum: Spectrum | int | None = None,
) -> PlanPage:
    """The page as it stands.

    chosen    heat and pilot id of the slot whose editor is open
    spectrum  that of a heat with a pilot on trial, or the number of a heat
    """
    now = standing(session, day)
    shown = shown_now(now)
    if isinstance(spectrum, int):
        spectrum = draft_spectrum(now.draft, shown, spectrum)
    return PlanPage(
        day=day,
        tab="plan",
        live=live_mark(session, day),
        now=now,
        shown=shown if shown["heats"] else None,
        pilots=len(now.draft.basis.pilots),
        bans=settings_of(day).bans,
        was=_was(shown),
        span=worst_span(shown),
        opened=open_slot(now, shown, *chosen) if chosen else None,
        spectrum=spectrum,
        editor=slot_editor(now.draft, *chosen) if chosen else None,
        job=job_view(jobs, now),
        compare=_compare(jobs, now),
        rules_allow=rule_set.most_transmitters if (rule_set := rule_set_of(day)) else None,
        history=[PastPlan(plan.number, plan.published_at) for plan in plans.history(session, day)],
        refusal=can_publish(day),
        one_heat_more=_one_heat_more(now),
        powers=_powers(now),
        published_at=_moment(now.published) if now.published else None,
        changes=changes_panel(session, day, jobs, now),
        outside=outside_panel(session, day, now),
        told=told,
        form=form or {},
        errors=errors or {},
    )


def published_plan_page(
    session: Session,
    day: FieldDay,
    number: int,
    chosen: tuple[int, int] | None = None,
    spectrum: int | None = None,
) -> PublishedPlanPage:
    """One published plan.

    chosen    heat and pilot id of the slot whose explanation is open
    spectrum  number of the heat whose drawing is open
    """
    shown = plans.published_plan(session, day, number)
    now = standing(session, day)
    return PublishedPlanPage(
        day=day,
        tab="plan",
        live=live_mark(session, day),
        shown=shown,
        version=now.draft.version,
        published_at=_moment(shown),
        is_latest=now.next_number == number + 1,
        was=_was(shown),
        span=worst_span(shown),
        opened=open_stored_slot(shown, *chosen) if chosen else None,
        spectrum=stored_spectrum(shown, spectrum) if spectrum else None,
    )


def job_view(jobs: Jobs, now: Standing) -> JobView | None:
    """What is to be said of the day's jobs; what the draft itself tells is not said twice."""
    running = jobs.running(day_id(now.day))
    if running:
        return running_view(running)
    ended = [job for kind in (PLAN, COMPARE, CHANGE) if (job := jobs.latest(day_id(now.day), kind))]
    newest = max(ended, key=lambda job: job.number, default=None)
    if newest is None:
        return None
    if newest.state == "failed":
        return JobView("failed", newest.number, newest.kind, newest.error)
    if newest.state == "cancelled":
        return JobView("cancelled", newest.number, newest.kind)
    return _ended(newest, now)


def running_view(job: Job) -> JobView:
    return JobView("running", job.number, job.kind, progress_words(job))


_DOING = {
    PLAN: marked("Planning"),
    COMPARE: marked("Working out how many can fly"),
    CHANGE: marked("Working out what the change costs"),
}


def progress_words(job: Job) -> str:
    """ "Planning: heats of the day, 63 000 steps, best so far +1.0 dB"."""
    doing = _(_DOING[job.kind])
    if job.progress is None:
        return _("%(doing)s: starting", doing=doing)
    steps = f"{job.progress.nodes:,}".replace(",", "\N{NO-BREAK SPACE}")
    values = {"doing": doing, "stage": _(job.progress.stage), "steps": steps}
    margin_db = job.progress.best_margin_db
    if margin_db is None:
        return _("%(doing)s: %(stage)s, %(steps)s steps", **values)
    margin = decimal(margin_db, 1, signed=True)
    return _("%(doing)s: %(stage)s, %(steps)s steps, best so far %(margin)s dB", margin=margin, **values)


def _ended(job: Job, now: Standing) -> JobView | None:
    answer = job.result
    if not isinstance(answer, Answer) or answer.is_kept:
        return None
    if answer.meanwhile:
        return JobView("overtaken", job.number, job.kind, answer=answer)
    # A conflict that the desk or the site has cured meanwhile is not shown any more.
    is_current = answer.question.are_heats_given or _same(answer.question.problem, now)
    if not is_current:
        return None
    return JobView(
        "infeasible",
        job.number,
        job.kind,
        answer=answer,
    )


def _same(problem: Any, now: Standing) -> bool:
    """Whether the day is the one that was asked about, however many fly at once."""
    basis = now.draft.basis.problem
    return bool(replace(problem, aircraft=basis.aircraft) == basis)


def _compare(jobs: Jobs, now: Standing) -> Sequence[CompareRow] | None:
    job = jobs.latest(day_id(now.day), COMPARE)
    found = job.result if job else None
    return found.rows if isinstance(found, Comparison) and _same(found.problem, now) else None


def _powers(now: Standing) -> PowerTable | None:
    """The levels for the draft; what is published alone is read as it was stored."""
    draft = now.draft
    callsigns = {pilot_id: pilot.callsign for pilot_id, pilot in draft.basis.pilots.items()}
    heats = as_day_plan(draft.content, callsigns, draft.snapshot).heats
    return power_table(now.day, draft.basis, heats, draft.content.common_power_mw)


def _moment(published: Snapshot) -> datetime:
    return datetime.fromisoformat(published["published_at"])


def _was(shown: Snapshot) -> dict[int, str]:
    return {
        move["pilot_id"]: f"{move['from_channel'] or ''} {move['from_mhz']}".strip()
        for move in shown.get("moves", [])
    }


def _one_heat_more(now: Standing) -> int:
    pilots, aircraft = len(now.draft.basis.pilots), now.day.aircraft
    if not pilots:
        return 0
    heats = -(-pilots // aircraft) + 1
    fewer = -(-pilots // heats)
    return fewer if fewer < min(aircraft, pilots) else 0
