"""Who may do what: the pass phrases of a club's roles, and who is signed in."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.services import access, clubs, days, saved_choices
from server.services.day_fields import zone_of_this_machine
from server.services.errors import InputError, NotFoundError
from server.services.roles import DIRECTOR, HELPER, ORGANIZER, ROLES
from server.services.sign_in_limits import Account
from server.services.stale_forms import StaleFormError, check_fresh
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.both_versions import both_versions
from server.web.dependencies import COOKIE, DatabaseOfApp, Now, RowNumber, WhoAsks, needs
from server.web.form_text import FormText, overtakable
from server.web.templating import Page, render
from server.wording import gettext as _
from server.wording import marked

router = APIRouter(prefix="/people")

MAY = {
    ORGANIZER: marked("Everything: makes field days, sets site and rules, says who may do what."),
    DIRECTOR: marked(
        "Plans, publishes, runs the flight line, reads site and rules, prints. And all of below."
    ),
    HELPER: marked(
        "Checks pilots in, does the bench checks, prints. EVERYBODY LAND, as everybody signed in."
    ),
}


@dataclass(frozen=True)
class RoleRow:
    """`made_at` None where nobody can sign in as this role yet."""

    role: str
    may: str
    made_at: datetime | None
    signed_in: int

    @property
    def mark(self) -> str:
        """Which pass phrase the page shows, so that a newer one is not replaced unseen."""
        return saved_choices.phrase_mark(self.made_at)


@dataclass(frozen=True)
class SignedInRow:
    number: int
    role: str
    since: datetime
    came_from: str
    is_own: bool


@dataclass(frozen=True)
class PeoplePage(Page):
    """`is_plain_http` where this page came so; `made_for` with `phrase`, the new one, which is shown only now,
    and `is_first` where the role had none before; `form` as typed where it was not taken.

    current  the day on the board, which EVERYBODY LAND is for
    """

    template: ClassVar[str] = "people/page.html"
    club: str
    current: FieldDay | None
    roles: list[RoleRow]
    signed_in: list[SignedInRow]
    time_zone: str
    is_plain_http: bool
    made_for: str = ""
    phrase: str = ""
    is_first: bool = False
    form: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@router.get("")
@needs(ORGANIZER)
def show_people(request: Request, database: DatabaseOfApp, now: Now, who: WhoAsks) -> Response:
    return render(request, _page(request, database, now, who))


@router.post("/pass-phrases/{role}")
@needs(ORGANIZER)
def make_pass_phrase(
    request: Request, role: str, database: DatabaseOfApp, now: Now, who: WhoAsks, form: FormText
) -> Response:
    """Answered at once with the phrase, which is kept nowhere, so no redirect could show it."""
    if role not in ROLES:
        raise NotFoundError(_("There is no such role."))
    account = Account(who.club_id, role)
    try:
        with database.write() as session:
            made_at = access.phrases_made(session, who.club_id).get(role)
            saved = saved_choices.pass_phrase(session, who.club_id, role, made_at)
            check_fresh(overtakable(form, phrase=saved_choices.NEW), saved)
            phrase = access.make_pass_phrase(session, account, now, request.cookies[COOKIE])
    except StaleFormError as error:
        return both_versions(request, error, form, "/people")
    page = _page(request, database, now, who, made_for=role, phrase=phrase)
    response = render(request, replace(page, is_first=made_at is None))
    response.headers["Cache-Control"] = "no-store"
    return response


@router.post("/sign-outs")
@needs(ORGANIZER)
def sign_others_out(request: Request, database: DatabaseOfApp, now: Now, who: WhoAsks) -> Response:
    with database.write() as session:
        access.sign_others_out(session, who.club_id, request.cookies[COOKIE], now)
    return RedirectResponse("/people", 303)


@router.post("/sign-outs/{number}")
@needs(ORGANIZER)
def sign_one_out(number: RowNumber, database: DatabaseOfApp, now: Now, who: WhoAsks) -> Response:
    with database.write() as session:
        access.sign_one_out(session, who.club_id, number, now)
    return RedirectResponse("/people", 303)


@router.post("/club")
@needs(ORGANIZER)
def name_club(request: Request, database: DatabaseOfApp, now: Now, who: WhoAsks, form: FormText) -> Response:
    name = form.get("name", "")
    try:
        with database.write() as session:
            check_fresh(overtakable(form), saved_choices.club(session, clubs.club_of(session, who.club_id)))
            clubs.rename(session, who.club_id, name, now)
    except StaleFormError as error:
        return both_versions(request, error, form, "/people")
    except InputError as error:
        page = _page(request, database, now, who, form={"name": name}, errors=error.faults)
        return render(request, page, 422)
    return RedirectResponse("/people", 303)


def _page(
    request: Request,
    database: Database,
    now: datetime,
    who: WhoAsks,
    made_for: str = "",
    phrase: str = "",
    form: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> PeoplePage:
    with database.read() as session:
        club = clubs.club_of(session, who.club_id)
        current = days.current_day(session, who.club_id, now)
        made_at = access.phrases_made(session, who.club_id)
        everybody = access.everybody(session, who.club_id, now)
        own = access.signed_in(session, request.cookies[COOKIE], now)
    counts = {role: sum(one.role == role for one in everybody) for role in ROLES}
    return PeoplePage(
        club=club.name,
        current=current,
        roles=[RoleRow(role, _(MAY[role]), made_at.get(role), counts[role]) for role in ROLES],
        signed_in=[
            SignedInRow(one.id or 0, one.role, one.created_at, one.came_from, one == own) for one in everybody
        ],
        time_zone=zone_of_this_machine(),
        is_plain_http=request.url.scheme == "http",
        made_for=made_for,
        phrase=phrase,
        form=form or {"name": club.name},
        errors=errors or {},
    )
