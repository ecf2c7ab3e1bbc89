"""Sign in and out."""

import shlex
from collections.abc import Mapping
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from server.services import access, clubs
from server.services.errors import InputError, TooManyTriesError, WrongPassPhraseError
from server.services.roles import HELPER, ORGANIZER, ROLES
from server.services.sign_in_limits import Account
from server.storage.session import Database
from server.storage.tables import Club
from server.web.dependencies import (
    COOKIE,
    KNOWN_COOKIE,
    DatabaseOfApp,
    Now,
    SettingsOfApp,
    client_address,
    local_address,
    needs,
    public,
)
from server.web.pages import SignInPage
from server.web.templating import render
from server.wording import gettext as _

router = APIRouter()

SIGN_IN = "/sign-in"
KNOWN_FOR_S = 365 * 24 * 3600
_SPECIAL = frozenset('"$`\\!%')
"""What double quotes leave its meaning at one terminal or another."""


@router.get(SIGN_IN)
@public
def show_sign_in(request: Request, database: DatabaseOfApp, next: str = "/", role: str = "") -> Response:
    club, last_role, _known = _remembered(request)
    return _show(request, database, next, role or last_role, club)


@router.post(SIGN_IN)
@public
def sign_in(
    request: Request,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    now: Now,
    pass_phrase: Annotated[str, Form()] = "",
    role: Annotated[str, Form()] = ORGANIZER,
    club: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    lasts = timedelta(hours=settings.session_hours)
    address, (_club, _role, known) = client_address(request), _remembered(request)
    try:
        account = _account(_clubs(database), club, role)
        admitted = access.sign_in(database, account, pass_phrase, address, now, lasts, known)
    except InputError as error:
        return _show(request, database, next, role, club, 422, error.faults)
    except WrongPassPhraseError as error:
        return _show(request, database, next, role, club, 422, {"pass_phrase": str(error)})
    except TooManyTriesError as error:
        response = _show(request, database, next, role, club, 429, {"pass_phrase": str(error)})
        response.headers["Retry-After"] = str(error.retry_after_s)
        return response
    response = RedirectResponse(local_address(next), 303)
    is_secure = request.url.scheme == "https"
    response.set_cookie(
        COOKIE,
        admitted.token,
        max_age=int(lasts.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=is_secure,
    )
    response.set_cookie(
        KNOWN_COOKIE,
        f"{account.club_id}.{account.role}.{admitted.known}",
        max_age=KNOWN_FOR_S,
        path=SIGN_IN,
        httponly=True,
        samesite="lax",
        secure=is_secure,
    )
    return response


@router.post("/sign-out")
@needs(HELPER)
def sign_out(request: Request, database: DatabaseOfApp, now: Now) -> Response:
    with database.write() as session:
        access.sign_out(session, request.cookies[COOKIE], now)
    response = RedirectResponse(SIGN_IN, 303)
    response.delete_cookie(COOKIE)
    return response


def _account(existing: list[Club], club: str, role: str) -> Account:
    """Raises InputError where it is not said who signs in."""
    if role not in ROLES:
        raise InputError({"role": _("Choose who signs in.")})
    if len(existing) == 1:
        return Account(existing[0].id or 0, role)
    if not club:
        raise InputError({"club": _("Choose the club.")})
    return Account(next((one.id or 0 for one in existing if str(one.id) == club), 0), role)


def _remembered(request: Request) -> tuple[str, str, str]:
    """The club and the role as which this browser was signed in last, and by what it is known."""
    club, role, known = (*request.cookies.get(KNOWN_COOKIE, "").split(".", 2), "", "")[:3]
    return club, role, known


def _clubs(database: Database) -> list[Club]:
    with database.read() as session:
        return clubs.all_clubs(session)


def _reset_options(existing: list[Club], club: str) -> list[str]:
    if len(existing) == 1:
        return [""]
    chosen = [one for one in existing if str(one.id) == club] or existing
    return [f" --club {_quoted(one.name)}" for one in chosen]


def _quoted(name: str) -> str:
    """One word for a terminal; double quotes, which Windows takes too, where nothing in the name is special."""
    return shlex.quote(name) if _SPECIAL & set(name) else f'"{name}"'


def _show(
    request: Request,
    database: Database,
    next: str,
    role: str,
    club: str,
    status: int = 200,
    errors: Mapping[str, str] | None = None,
) -> Response:
    """Whoever was signed in last is chosen already; at first the organizer, who has the first pass phrase."""
    existing = _clubs(database)
    page = SignInPage(
        next=local_address(next),
        role=role if role in ROLES else ORGANIZER,
        club=club,
        clubs=existing,
        reset_options=_reset_options(existing, club),
        errors=errors or {},
    )
    return render(request, page, status)
