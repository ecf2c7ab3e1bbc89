"""The channel plan: compute, change by hand, publish, bring back."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.allocator import solve
from server.allocator.plan import Cure
from server.services import cures, draft_changes, live, planning, plans, power_choice, saved_choices
from server.services.days import day_with
from server.services.draft_changes import StaleDraftError
from server.services.errors import InputError, OvertakenError, RefusedError, ServiceError
from server.services.jobs import Jobs
from server.services.planning import COMPARE, PLAN, Answer
from server.services.roles import DIRECTOR
from server.services.stale_forms import StaleFormError, check_fresh
from server.services.standings import standing
from server.services.trade_offs import CHANGE
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web import plan_forms
from server.web.both_versions import both_versions
from server.web.dependencies import (
    BackupsOfApp,
    DatabaseOfApp,
    HubOfApp,
    JobsOfApp,
    Now,
    RowNumber,
    needs,
)
from server.web.form_text import FormText, overtakable, whole_number
from server.web.plan_pages import JobFragment, Told, plan_page, published_plan_page, running_view
from server.web.spectrum_pages import Spectrum, trial_spectrum
from server.web.templating import is_fragment, render
from server.wording import gettext as _

router = APIRouter()

HeatNumber = Annotated[RowNumber | None, Query(alias="heat")]
_CHANGE_FIELDS = {
    "late": {"pilot"},
    "gone": {"pilot", "state"},
    "noisy": {"mhz"},
    "down": {"pilot"},
    "again": {"heat"},
}
"""Fields of the panel of changes, by what happened."""

EDITOR_FIELDS = {"mhz", "power_mw", "other", "to_heat", "place"}

PilotId = Annotated[RowNumber | None, Query(alias="pilot")]
MovedId = Annotated[RowNumber | None, Query(alias="moved")]
SpectrumOf = Annotated[RowNumber | None, Query(alias="spectrum")]


@router.get("/days/{code}/plan")
@needs(DIRECTOR)
def show_plan(
    request: Request,
    code: str,
    database: DatabaseOfApp,
    jobs: JobsOfApp,
    heat: HeatNumber = None,
    pilot: PilotId = None,
    spectrum: SpectrumOf = None,
    moved: MovedId = None,
    mhz: RowNumber | None = None,
) -> Response:
    """`spectrum` names the heat whose drawing is open, `moved` and `mhz` a pilot on trial in it."""
    with database.read() as session:
        day = day_with(session, code)
        chosen = (heat, pilot) if heat and pilot else None
        opened: Spectrum | int | None = spectrum
        if spectrum and moved and mhz:
            opened = trial_spectrum(session, day, spectrum, (moved, mhz))
        page = plan_page(session, day, jobs, chosen, spectrum=opened)
    return render(request, page)


@router.get("/days/{code}/plan/job")
@needs(DIRECTOR)
def show_job(request: Request, code: str, database: DatabaseOfApp, jobs: JobsOfApp) -> Response:
    """What a page that waits asks for: the fragment while the job runs, the whole page once it has ended."""
    with database.read() as session:
        day = day_with(session, code)
        running = jobs.running(day.id or 0)
        if running:
            return render(request, JobFragment(day, running_view(running)))
        response = render(request, plan_page(session, day, jobs))
    response.headers.update({"HX-Retarget": "#main", "HX-Reselect": "#main", "HX-Reswap": "outerMorph"})
    return response


@router.get("/days/{code}/plan/{number}")
@needs(DIRECTOR)
def show_published_plan(
    request: Request,
    code: str,
    number: RowNumber,
    database: DatabaseOfApp,
    heat: HeatNumber = None,
    pilot: PilotId = None,
    spectrum: SpectrumOf = None,
) -> Response:
    with database.read() as session:
        chosen = (heat, pilot) if heat and pilot else None
        page = published_plan_page(session, day_with(session, code), number, chosen, spectrum)
    return render(request, page)


@router.post("/days/{code}/plan/compute")
@needs(DIRECTOR)
def compute_plan(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp
) -> Response:
    try:
        with database.read() as session:
            day = day_with(session, code)
            _check_draft_seen(session, day, form)
            question = planning.ask(session, day, bool(form.get("keep_heats")))
        planning.start_planning(database, jobs, question, solve.plan_day, request.app.state.clock)
    except (RefusedError, InputError, OvertakenError) as error:
        return not_done(request, code, database, jobs, form, error)
    return to_plan(code)


@router.post("/days/{code}/plan/aircraft")
@needs(DIRECTOR)
def choose_aircraft(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    """Set how many fly at once, and plan with it."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            check_fresh(overtakable(form), saved_choices.aircraft_at_once(session, day))
            _check_draft_seen(session, day, form)
            draft_changes.fly(session, day, whole_number(form, "aircraft"), now)
    except StaleFormError as error:
        return both_versions(request, error, form, f"/days/{code}/plan")
    except (InputError, OvertakenError) as error:
        return not_done(request, code, database, jobs, form, error)
    return compute_plan(request, code, {}, database, jobs)


@router.post("/days/{code}/plan/power")
@needs(DIRECTOR)
def choose_power(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    """Set the common level of power, or leave it to the planner, and plan with it."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            check_fresh(overtakable(form), saved_choices.common_power(session, day))
            _check_draft_seen(session, day, form)
            basis = standing(session, day).draft.basis
            power_choice.choose(session, day, basis, form.get("common_power_mw", ""), now)
    except StaleFormError as error:
        return both_versions(request, error, form, f"/days/{code}/plan")
    except (InputError, OvertakenError) as error:
        return not_done(request, code, database, jobs, form, error)
    return compute_plan(request, code, {}, database, jobs)


@router.post("/days/{code}/plan/cure")
@needs(DIRECTOR)
def cure_conflict(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    """Carry out a cure that a planning named, and plan again."""
    try:
        answer, cure = _named_cure(jobs, _day_id(code, database), form)
        with database.write() as session:
            cures.carry_out(session, day_with(session, code), cure, now)
    except (InputError, OvertakenError, RefusedError) as error:
        return not_done(request, code, database, jobs, form, error)
    again: dict[str, str] = {"keep_heats": "yes"} if answer.question.are_heats_given else {}
    return compute_plan(request, code, again, database, jobs)


@router.post("/days/{code}/plan/compare")
@needs(DIRECTOR)
def compare_aircraft(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp
) -> Response:
    try:
        with database.read() as session:
            day = day_with(session, code)
            question = planning.ask(session, day)
        planning.start_comparing(jobs, question, day.heat_minutes, solve.how_many_can_fly)
    except RefusedError as error:
        return not_done(request, code, database, jobs, form, error)
    return to_plan(code)


@router.post("/days/{code}/plan/job/cancel")
@needs(DIRECTOR)
def cancel_job(code: str, database: DatabaseOfApp, jobs: JobsOfApp) -> Response:
    jobs.cancel(_day_id(code, database))
    return to_plan(code)


@router.post("/days/{code}/plan/job/close")
@needs(DIRECTOR)
def close_job(code: str, database: DatabaseOfApp, jobs: JobsOfApp) -> Response:
    for kind in (PLAN, COMPARE, CHANGE):
        jobs.forget(_day_id(code, database), kind)
    return to_plan(code)


@router.post("/days/{code}/plan/job/use")
@needs(DIRECTOR)
def use_job(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    """Take the plan of a job that was overtaken."""
    day_id = _day_id(code, database)
    job = jobs.latest(day_id, PLAN)
    answer = job.result if job else None
    try:
        if job is None or not isinstance(answer, Answer) or job.number != whole_number(form, "job"):
            raise OvertakenError(
                _("This plan is gone: a newer one was computed, or the server was restarted.")
            )
        with database.write() as session:
            day = day_with(session, code)
            planning.keep_all_the_same(session, day, whole_number(form, "version"), answer, now)
    except ServiceError as error:
        return not_done(request, code, database, jobs, form, error)
    jobs.forget(day_id, PLAN)
    return to_plan(code)


@router.post("/days/{code}/plan/edit")
@needs(DIRECTOR)
def edit_plan(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    try:
        with database.write() as session:
            plan_forms.apply(session, day_with(session, code), form, now)
    except (InputError, OvertakenError, RefusedError) as error:
        return not_done(request, code, database, jobs, form, error)
    return to_plan(code, form)


@router.post("/days/{code}/plan/undo")
@needs(DIRECTOR)
def undo_change(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    try:
        with database.write() as session:
            draft_changes.undo(session, day_with(session, code), whole_number(form, "version"), now)
    except (OvertakenError, RefusedError) as error:
        return not_done(request, code, database, jobs, form, error)
    return to_plan(code)


@router.post("/days/{code}/plan/bring-back")
@needs(DIRECTOR)
def bring_back_plan(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    number, version = whole_number(form, "number"), whole_number(form, "version")
    try:
        with database.write() as session:
            plans.bring_back(session, day_with(session, code), version, number, now)
    except OvertakenError as error:
        return not_done(request, code, database, jobs, form, error)
    return to_plan(code)


@router.post("/days/{code}/plan/publish")
@needs(DIRECTOR)
def publish_plan(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    backups: BackupsOfApp,
    now: Now,
) -> Response:
    version, answers_for = whole_number(form, "version"), bool(form.get("answers_for"))
    try:
        with database.write() as session:
            day = day_with(session, code)
            plans.publish(session, day, version, form.get("seen", ""), answers_for, now)
    except plans.AlreadyPublishedError:
        return to_plan(code)  # what was wished has happened: the page shows it
    except (InputError, OvertakenError, RefusedError) as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    backups.soon()
    return to_plan(code)


def to_plan(code: str, form: FormText | None = None) -> Response:
    """Back to the page, with the editor open that the form stood in."""
    form = form or {}
    if form.get("spectrum"):
        number = whole_number(form, "spectrum")
        return RedirectResponse(f"/days/{code}/plan?spectrum={number}#spectrum-{number}", 303)
    is_open = form.get("heat") and form.get("pilot") and form.get("act") not in ("move", "trade", "remove")
    where = f"?heat={whole_number(form, 'heat')}&pilot={whole_number(form, 'pilot')}" if is_open else ""
    return RedirectResponse(f"/days/{code}/plan{where}", 303)


def not_done(
    request: Request, code: str, database: Database, jobs: Jobs, form: FormText, error: ServiceError
) -> Response:
    """The page as it stands now, with what was typed and why it was not done."""
    said: dict[str, Any] = {"form": form}
    status = 409 if isinstance(error, OvertakenError) else 422
    if isinstance(error, InputError):
        said["errors"] = error.faults
    is_told_below = isinstance(error, InputError) and error.faults.keys() <= _fields_shown(form)
    with database.read() as session:
        day = day_with(session, code)
        said["told"] = None if is_told_below else _told(session, day, form, error)
        heat, pilot = whole_number(form, "heat"), whole_number(form, "pilot")
        opened = whole_number(form, "spectrum") or None
        page = plan_page(
            session, day, jobs, (heat, pilot) if heat and pilot else None, spectrum=opened, **said
        )
    response = render(request, page, status)
    if said["told"] and is_fragment(request):
        response.headers["HX-Reswap"] = "outerMorph show:top"
    return response


def _fields_shown(form: FormText) -> set[str]:
    """The fields that stand on the page and so carry their own sentence."""
    shown = {"answers_for", "callsigns", "signal"} | _CHANGE_FIELDS.get(form.get("act", ""), set())
    return shown | EDITOR_FIELDS if form.get("heat") and form.get("pilot") else shown


def _named_cure(jobs: Jobs, day_id: int, form: FormText) -> tuple[Answer, Cure]:
    """The cure that a button stands for. Raises OvertakenError once another planning has begun."""
    job = jobs.latest(day_id, PLAN)
    answer = job.result if job else None
    if job is None or not isinstance(answer, Answer) or job.number != whole_number(form, "job"):
        raise OvertakenError(_("This conflict is gone: the day was planned again meanwhile."))
    number, place = whole_number(form, "conflict"), whole_number(form, "cure")
    conflicts = dict(enumerate(answer.plan.conflicts, start=1))
    remedies = dict(enumerate(conflicts[number].remedies, start=1)) if number in conflicts else {}
    if place not in remedies:
        raise InputError({"cure": _("There is no such cure: use the buttons of the page.")})
    return answer, remedies[place]


def _told(session: Session, day: FieldDay, form: FormText, error: ServiceError) -> Told:
    if not isinstance(error, StaleDraftError) or not error.intended or "act" not in form:
        return Told(str(error))
    version = standing(session, day).draft.version
    return Told(str(error), again={**form, "version": str(version)})


def _check_draft_seen(session: Session, day: FieldDay, form: FormText) -> None:
    """A planning replaces the draft: not one that its page did not show."""
    if "version" in form:
        wish = _("Plan the channels, which replaces the draft.")
        draft_changes.check_seen(session, day, whole_number(form, "version"), wish)


def _day_id(code: str, database: Database) -> int:
    with database.read() as session:
        return day_with(session, code).id or 0
