from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from server.services import access
from server.services.errors import TooManyTriesError, WrongPassPhraseError
from server.web.dependencies import (
    COOKIE,
    DatabaseOfApp,
    Now,
    SettingsOfApp,
    client_address,
    local_address,
    public,
)
from server.web.pages import SignInPage
from server.web.templating import render

router = APIRouter()


@router.get("/sign-in")
@public
def show_sign_in(request: Request, next: str = "/") -> Response:
    return render(request, SignInPage(next=local_address(next)))


@router.post("/sign-in")
@public
def sign_in(
    request: Request,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    now: Now,
    pass_phrase: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    lasts = timedelta(hours=settings.session_hours)
    try:
        token = access.sign_in(database, pass_phrase, client_address(request), now, lasts)
    except WrongPassPhraseError as error:
        return render(request, SignInPage(next=local_address(next), error=str(error)), 422)
    except TooManyTriesError as error:
        response = render(request, SignInPage(next=local_address(next), error=str(error)), 429)
        response.headers["Retry-After"] = str(error.retry_after_s)
        return response
    return _with_cookie(
        RedirectResponse(local_address(next), 303), token, lasts, request.url.scheme == "https"
    )


@router.post("/sign-out")
def sign_out(request: Request, database: DatabaseOfApp, now: Now) -> Response:
    with database.write() as session:
        access.sign_out(session, request.cookies[COOKIE], now)
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(COOKIE)
    return response


def _with_cookie(response: Response, token: str, lasts: timedelta, is_secure: bool) -> Response:
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(lasts.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=is_secure,
    )
    return response
