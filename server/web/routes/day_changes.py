"""When the day changes: say what happened, see what it costs, take a row."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.allocator.changes import trade_offs
from server.services import day_changes, down_transmitters, flown_heats, live, saved_choices
from server.services import trade_offs as costs
from server.services.days import day_with
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.jobs import Jobs
from server.services.roles import DIRECTOR
from server.services.stale_forms import StaleFormError, check_fresh
from server.services.standings import standing
from server.services.trade_offs import CHANGE, ChangeAnswer
from server.web.both_versions import both_versions
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    JobsOfApp,
    Now,
    needs,
)
from server.web.form_text import FormText, overtakable, whole_number
from server.web.routes.plans import not_done, to_plan
from server.wording import gettext as _

router = APIRouter(prefix="/days/{code}/plan")

REFUSALS = (InputError, NotFoundError, OvertakenError, RefusedError)


@router.post("/next-heat")
@needs(DIRECTOR)
def say_next_heat(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    now: Now,
) -> Response:
    try:
        with database.write() as session:
            day = day_with(session, code)
            check_fresh(overtakable(form), saved_choices.next_heat(session, day))
            flown_heats.next_heat(session, day, whole_number(form, "next_heat"), now)
    except StaleFormError as error:
        return both_versions(request, error, form, f"/days/{code}/plan")
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    return to_plan(code)


@router.post("/change")
@needs(DIRECTOR)
def change_the_day(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    now: Now,
) -> Response:
    """Note what happened, and work out in a thread what it costs."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            if jobs.running(day.id or 0):
                raise RefusedError(_("This day is being computed already. Wait for it, or cancel it first."))
            before = standing(session, day).draft
            happened = day_changes.happen(session, day, before, form, now)
            after = standing(session, day).draft
            joining = [one for one in _joining(form) if one in after.basis.pilots] or happened.joining
            is_taken_back = bool(form.get("undo"))
            question = None if is_taken_back else costs.ask(day, after, joining, happened.text, happened.undo)
        if question:
            costs.start(jobs, question, trade_offs)
        else:
            jobs.forget(day.id or 0, CHANGE)
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    return to_plan(code)


@router.post("/change/found")
@needs(DIRECTOR)
def note_found(
    request: Request,
    code: str,
    form: FormText,
    database: DatabaseOfApp,
    hub: HubOfApp,
    jobs: JobsOfApp,
    now: Now,
) -> Response:
    """Note it, and work out how the channel that is clear again, and the pilot, come in once more."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            down_id = whole_number(form, "down")
            owner = next(
                (one.pilot_id for one in down_transmitters.still_on(session, day) if one.id == down_id), 0
            )
            text = down_transmitters.found(session, day, down_id, now)
            after = standing(session, day).draft
            is_ahead = len(after.content.heats) > day.flown_heats
            is_taken_back = bool(form.get("undo"))
            joining = [owner] if owner in day_changes.waiting(after) else []
            question = costs.ask(day, after, joining, text) if is_ahead and not is_taken_back else None
        if question and not jobs.running(day.id or 0):
            costs.start(jobs, question, trade_offs)
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    live.announce(database, hub, day.id or 0)
    return to_plan(code)


@router.post("/change/take")
@needs(DIRECTOR)
def take_row(
    request: Request, code: str, form: FormText, database: DatabaseOfApp, jobs: JobsOfApp, now: Now
) -> Response:
    """Make one row the draft."""
    try:
        with database.write() as session:
            day = day_with(session, code)
            answer = _answer(jobs, day.id or 0, whole_number(form, "job"))
            row, version = whole_number(form, "row"), whole_number(form, "version")
            costs.take(session, day, version, answer, row, now)
    except REFUSALS as error:
        return not_done(request, code, database, jobs, form, error)
    jobs.forget(day.id or 0, CHANGE)
    return to_plan(code)


@router.post("/change/close")
@needs(DIRECTOR)
def close_rows(code: str, database: DatabaseOfApp, jobs: JobsOfApp) -> Response:
    with database.read() as session:
        jobs.forget(day_with(session, code).id or 0, CHANGE)
    return to_plan(code)


def _answer(jobs: Jobs, day_id: int, number: int) -> ChangeAnswer:
    job = jobs.latest(day_id, CHANGE)
    if job is None or job.number != number or not isinstance(job.result, ChangeAnswer):
        raise OvertakenError(
            _("These rows are gone: a newer change was worked out, or the server was restarted.")
        )
    return job.result


def _joining(form: FormText) -> list[int]:
    return [int(one) for one in form.get("joining", "").split() if one.isascii() and one.isdigit()]
