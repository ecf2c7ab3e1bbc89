"""One pilot: edit, leave and come back, aircraft, the private link."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from server.services import aircraft, pilot_edits, pilots, saved_choices
from server.services.days import day_with
from server.services.errors import InputError, OvertakenError
from server.services.pilot_edits import NEW, OWN, PageRefusedError, Refusal
from server.services.roles import DIRECTOR, HELPER, acting
from server.services.roster_rows import PILOT_FIELDS, SET_UP_FIELDS, pilot_text, plain, set_up_text
from server.services.roster_table import roster_row
from server.services.stale_forms import Form, StaleFormError, check_fresh
from server.storage.session import Database
from server.storage.tables import PILOT_STATES, FieldDay, Pilot
from server.web.both_versions import both_versions
from server.web.check_in_pages import FormState, LinkFragment, LinkPage, PilotPage
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    Now,
    RowNumber,
    needs,
)
from server.web.form_text import FormText, overtakable, was, whole_number
from server.web.live_mark import live_mark
from server.web.phone_addresses import phone_address
from server.web.presses import PressOfApp
from server.web.roster_news import announce_roster
from server.web.routes.check_in import TAB, roster_fragment
from server.web.templating import is_fragment, render
from server.wording import gettext as _

router = APIRouter(prefix="/days/{code}/pilots/{pilot_id}")

NEW_SPARE = {"antenna": "rhcp"}


@router.get("")
@needs(HELPER)
def show_pilot(
    request: Request, code: str, pilot_id: RowNumber, database: DatabaseOfApp, saved: bool = False
) -> Response:
    return _show(request, database, code, pilot_id, saved=saved)


@router.post("")
@needs(HELPER)
def save_pilot(
    request: Request,
    code: str,
    pilot_id: RowNumber,
    database: DatabaseOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    own = _sent(_part(form, OWN), PILOT_FIELDS)
    try:
        with _changing(database, code, pilot_id) as (session, day, pilot):
            set_ups = {
                one.id or 0: _sent(part, SET_UP_FIELDS)
                for one in aircraft.all_of(session, pilot)
                if (part := _part(form, str(one.id)))
            }
            pilot_edits.save(session, day, pilot, own, set_ups, _part(form, NEW), acting(session), now)
    except PageRefusedError as error:
        is_stale = any(isinstance(one, StaleFormError) for one in error.refusals.values())
        return _show(request, database, code, pilot_id, 409 if is_stale else 422, form, error.refusals)
    announce_roster(database, hub, day)
    return RedirectResponse(f"/days/{day.code}/pilots/{pilot.id}?saved=true", 303)


@router.post("/aircraft/{aircraft_id}/fly")
@needs(HELPER)
def fly_aircraft(
    request: Request,
    code: str,
    pilot_id: RowNumber,
    aircraft_id: RowNumber,
    database: DatabaseOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    try:
        with _changing(database, code, pilot_id) as (session, day, pilot):
            one = aircraft.aircraft_of(session, pilot, aircraft_id)
            saved = saved_choices.aircraft_that_flies(session, day, pilot, aircraft.all_of(session, pilot))
            check_fresh(overtakable(form, aircraft=str(one.id)), saved)
            aircraft.fly(session, day, pilot, one, acting(session), now)
    except StaleFormError as error:
        return both_versions(request, error, form, f"/days/{code}/pilots/{pilot_id}")
    announce_roster(database, hub, day)
    return RedirectResponse(f"/days/{day.code}/pilots/{pilot.id}?saved=true", 303)


@router.post("/state")
@needs(HELPER)
def set_state(
    request: Request,
    code: str,
    pilot_id: RowNumber,
    database: DatabaseOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    state = form.get("state", "")
    if state not in PILOT_STATES:
        raise InputError({"state": _("Choose one of %(states)s.", states=", ".join(PILOT_STATES))})
    try:
        with _changing(database, code, pilot_id) as (session, day, pilot):
            check_fresh(overtakable(form), saved_choices.state_of_pilot(session, day, pilot))
            pilots.set_state(session, day, pilot, state, acting(session), now)
    except StaleFormError as error:
        keep = f"pilots/{pilot_id}" if form.get("back") == "pilot" else "check-in"
        return both_versions(request, error, form, f"/days/{code}/{keep}")
    return _acted(request, database, hub, day, pilot, form)


@router.post("/channel")
@needs(HELPER)
def give_channel(
    request: Request,
    code: str,
    pilot_id: RowNumber,
    database: DatabaseOfApp,
    hub: HubOfApp,
    now: Now,
    form: FormText,
) -> Response:
    with _changing(database, code, pilot_id) as (session, day, pilot):
        pilots.give_channel(session, day, pilot, acting(session), now)
    return _acted(request, database, hub, day, pilot, form, has_answer=True)


@router.get("/link")
@needs(HELPER)
def show_link(
    request: Request, code: str, pilot_id: RowNumber, database: DatabaseOfApp, renewed: bool = False
) -> Response:
    return _show_link(request, database, code, pilot_id, renewed=renewed)


@router.post("/link")
@needs(DIRECTOR)
def renew_link(press: PressOfApp, code: str, pilot_id: RowNumber) -> Response:
    request, database = press.request, press.database
    try:
        with _changing(database, code, pilot_id) as (session, day, pilot):
            pilots.renew_link(session, day, pilot, press.seen, acting(session), press.now)
    except OvertakenError as error:
        return _show_link(request, database, code, pilot_id, 409, str(error))
    announce_roster(database, press.hub, day)
    if is_fragment(request):
        return _show_link(request, database, code, pilot_id, renewed=True)
    return RedirectResponse(f"/days/{day.code}/pilots/{pilot.id}/link?renewed=true", 303)


def _show_link(
    request: Request,
    database: Database,
    code: str,
    pilot_id: int,
    status: int = 200,
    notice: str = "",
    renewed: bool = False,
) -> Response:
    with database.read() as session:
        day = day_with(session, code)
        pilot = pilots.pilot_of(session, day, pilot_id)
        live = live_mark(session, day)
    address = phone_address(request, day, f"/slot/{pilot.link_token}")
    if is_fragment(request):
        return render(request, LinkFragment(day, pilot, address, notice, renewed), status)
    return render(request, LinkPage(day, TAB, live, pilot, address, notice, renewed), status)


@contextmanager
def _changing(database: Database, code: str, pilot_id: int) -> Iterator[tuple[Session, FieldDay, Pilot]]:
    with database.write() as session:
        day = day_with(session, code)
        yield session, day, pilots.pilot_of(session, day, pilot_id)


def _sent(form: Mapping[str, str], fields: tuple[str, ...]) -> Form:
    return Form(plain(form, fields), plain(was(form), fields), whole_number(form, "version"))


def _part(form: Mapping[str, str], part: str) -> dict[str, str]:
    """The fields of one part of the page; their names start with the part's."""
    return {name.partition("-")[2]: text for name, text in form.items() if name.startswith(f"{part}-")}


def _state(
    saved: Mapping[str, str], version: int, sent: Mapping[str, str] | None, refusal: Refusal | None
) -> FormState:
    """A part of the page: as it is saved, as it was sent, with what was wrong, or with both versions."""
    if isinstance(refusal, StaleFormError):
        return FormState(refusal.merged, refusal.saved, refusal.version, stale=refusal)
    if not sent:
        return FormState(saved, saved, version)
    errors = refusal.faults if isinstance(refusal, InputError) else {}
    return FormState(sent, was(sent), whole_number(sent, "version"), errors=errors)


def _show(
    request: Request,
    database: Database,
    code: str,
    pilot_id: int,
    status: int = 200,
    sent: Mapping[str, str] | None = None,
    refusals: Mapping[str, Refusal] | None = None,
    saved: bool = False,
) -> Response:
    sent, refusals = sent or {}, refusals or {}
    with database.read() as session:
        day = day_with(session, code)
        pilot = pilots.pilot_of(session, day, pilot_id)
        page = PilotPage(
            day=day,
            tab=TAB,
            live=live_mark(session, day),
            row=roster_row(session, day, pilot),
            form=_state(pilot_text(pilot), pilot.version, _part(sent, OWN), refusals.get(OWN)),
            aircraft=[
                (
                    one,
                    _state(
                        set_up_text(one), one.version, _part(sent, str(one.id)), refusals.get(str(one.id))
                    ),
                )
                for one in aircraft.all_of(session, pilot)
            ],
            spare=_state(NEW_SPARE, 0, _part(sent, NEW), refusals.get(NEW)),
            saved=saved,
        )
    return render(request, page, status)


def _acted(
    request: Request,
    database: Database,
    hub: HubOfApp,
    day: FieldDay,
    pilot: Pilot,
    form: Mapping[str, str],
    has_answer: bool = False,
) -> Response:
    """The roster with the row where the button was; undo stands in it."""
    announce_roster(database, hub, day)
    if not is_fragment(request):
        if form.get("back") == "pilot":
            return RedirectResponse(f"/days/{day.code}/pilots/{pilot.id}", 303)
        added = f"?added={pilot.id}" if has_answer else f"#pilot-{pilot.id}"
        return RedirectResponse(f"/days/{day.code}/check-in{added}", 303)
    return render(request, roster_fragment(database, day.code, form, pilot.id, has_answer))
