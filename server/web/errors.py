"""Which error is answered how: one table, one page for each status, never a traceback.

A page of its own goes to a browser, a strip on top of the present page to htmx, a line of text to anything
else.
"""

import logging
from dataclasses import dataclass
from http import HTTPStatus
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.services import errors as refusals
from server.services.roles import DIRECTOR, HELPER, ORGANIZER
from server.storage.session import AWAY, DAMAGED, FULL, LOCKED, READ_ONLY, DatabaseFailsError
from server.storage.tables import FieldDay
from server.web.day_to_land import day_to_land
from server.web.dependencies import NotAllowedError, SignInNeededError, local_address
from server.web.way_back import page_above, way_back
from server.wording import gettext as _
from server.wording import marked

log = logging.getLogger("bandstand")


@dataclass(frozen=True)
class Answer:
    template: str
    usual_message: str
    """Said when the error itself has nothing to say to a person."""


ANSWERS = {
    400: Answer(
        "errors/bad_request.html",
        marked("What the browser sent could not be read, so nothing was done."),
    ),
    403: Answer(
        "errors/forbidden.html", marked("This was sent from somewhere else than a page of this Bandstand.")
    ),
    404: Answer("errors/not_found.html", marked("Nothing is at this address. Check it letter by letter.")),
    405: Answer(
        "errors/only_pressed.html",
        marked("This address is no page: it only takes what a button or a form sends, so nothing was done."),
    ),
    409: Answer("errors/overtaken.html", marked("Somebody else changed this since the page was loaded.")),
    413: Answer("errors/too_large.html", marked("This is larger than Bandstand takes.")),
    422: Answer("errors/not_taken.html", marked("Something in the form or the address cannot be used.")),
    429: Answer("errors/too_many_tries.html", marked("Too many tries. Wait a few minutes.")),
    503: Answer("errors/not_saved.html", marked("Bandstand cannot reach its data just now.")),
    507: Answer("errors/not_saved.html", marked("The disk is full, so nothing can be saved.")),
    500: Answer("errors/our_fault.html", marked("Bandstand failed here. Nothing that was saved is lost.")),
}

# The error's own class decides, else the nearest class that it descends from.
STATUSES: dict[type[Exception], int] = {
    refusals.NotFoundError: 404,
    refusals.InputError: 422,
    refusals.RefusedError: 422,
    refusals.OvertakenError: 409,
    refusals.WrongPassPhraseError: 422,
    refusals.TooManyTriesError: 429,
    RequestValidationError: 422,
}

DATABASE_FAILS: dict[str, tuple[int, str]] = {
    LOCKED: (
        503,
        marked("Another program holds the data file, so this was not saved. End that program, or wait."),
    ),
    FULL: (
        507,
        marked("The disk is full, so this was not saved. Make room on the disk of the data folder, now."),
    ),
    READ_ONLY: (
        503,
        marked("The data file may not be written, so this was not saved. Make its folder writable again."),
    ),
    DAMAGED: (
        503,
        marked(
            "The data file is damaged. Stop Bandstand and restore the newest backup: bandstand restore FILE."
        ),
    ),
    AWAY: (
        503,
        marked("The database does not answer, so this was not saved. It is tried anew with each press."),
    ),
}
"""Status and sentence by why the database fails."""

ON_TOP = {"HX-Retarget": "#main", "HX-Reswap": "afterbegin show:top", "HX-Reselect": ".notice"}
"""By which htmx puts a strip on top of the page, whole, also where the form would pick out a part of a page."""

SIGNED_OUT = "errors/signed_out.html"
WITHOUT_CURE = "errors/_frame.html"
"""For a message that says itself what to do."""
SIGNED_OUT_HERE = marked("Nobody is signed in here any more, so this was not done.")
IN_ANOTHER_TAB = marked(
    "Sign in in another tab, then press again here: what you typed is still on this page."
)

ONLY_BY = {
    ORGANIZER: marked("Only the organizer may do this."),
    DIRECTOR: marked("Only the director or the organizer may do this."),
}
SIGNED_IN_AS = {
    DIRECTOR: marked("You are signed in as director."),
    HELPER: marked("You are signed in as helper."),
}


def add_handlers(app: FastAPI) -> None:
    for error_class in STATUSES:
        app.add_exception_handler(error_class, _answer_known)
    app.add_exception_handler(DatabaseFailsError, _answer_failing_database)
    app.add_exception_handler(HTTPException, _answer_http)
    app.add_exception_handler(SignInNeededError, _answer_sign_in_needed)
    app.add_exception_handler(NotAllowedError, _answer_not_allowed)


def answer(
    request: Request,
    status: int,
    message: str = "",
    sign_in: str = "/sign-in",
    current: FieldDay | None = None,
    template: str = "",
) -> Response:
    """The friendly answer of a status; `message` is one sentence about this very case.

    sign_in  where one signs in who may do what was asked
    current  the day that EVERYBODY LAND is for, where somebody is signed in
    template  the page, where it is not the usual one of the status
    """
    known = ANSWERS.get(status) or ANSWERS[400 if status < 500 else 500]
    context = {
        "message": message or _(known.usual_message),
        "status": status,
        "sign_in": sign_in,
        "leads_back": request.method == "GET" and "next=" in sign_in,
        "current": current,
        "page": local_address(page_above(request, request.url.path)),
        "request_number": getattr(request.state, "request_number", ""),
    }
    templates = request.app.state.templates
    if request.headers.get("HX-Request"):
        return templates.TemplateResponse(request, "errors/_strip.html", context, status, headers=ON_TOP)
    accepted = request.headers.get("Accept", "*/*")
    if "text/html" not in accepted and "*/*" not in accepted:
        return PlainTextResponse(context["message"], status)
    return templates.TemplateResponse(request, template or known.template, context, status)


def _answer_known(request: Request, error: Exception) -> Response:
    nearest = next(parent for parent in type(error).__mro__ if parent in STATUSES)
    message = "" if isinstance(error, RequestValidationError) else str(error)
    response = answer(request, STATUSES[nearest], message, current=day_to_land(request))
    if isinstance(error, refusals.TooManyTriesError):
        response.headers["Retry-After"] = str(error.retry_after_s)
    return response


def _answer_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    has_own_words = error.detail != HTTPStatus(error.status_code).phrase
    message = error.detail if has_own_words else ""
    response = answer(request, error.status_code, message, current=day_to_land(request))
    response.headers.update(error.headers or {})
    return response


def _answer_failing_database(request: Request, error: Exception) -> Response:
    assert isinstance(error, DatabaseFailsError)
    log.error("the database fails: %s", error)
    status, sentence = DATABASE_FAILS[error.why]
    return answer(request, status, _(sentence))


def _answer_sign_in_needed(request: Request, _error: Exception) -> Response:
    """A page leads to the sign-in and back, a press to the page that it was on; what was typed stays there."""
    if request.method == "GET" and not request.headers.get("HX-Request"):
        return RedirectResponse(f"/sign-in?next={quote(_asked(request), safe='/')}", 303)
    message = _(SIGNED_OUT_HERE)
    if request.headers.get("HX-Request"):
        message += f" {_(IN_ANOTHER_TAB)}"
    sign_in = f"/sign-in?next={quote(way_back(request), safe='/')}"
    return answer(request, 403, message, sign_in, template=SIGNED_OUT)


def _answer_not_allowed(request: Request, error: Exception) -> Response:
    """Who may do it, and the way to sign in as that: for a page back to it, for a form to the page it was on."""
    assert isinstance(error, NotAllowedError)
    current = day_to_land(request)
    message = f"{_(ONLY_BY[error.least])} {_(SIGNED_IN_AS[error.role])}"
    if request.method == "GET" and not request.headers.get("HX-Request"):
        sign_in = f"/sign-in?role={error.least}&next={quote(_asked(request), safe='/')}"
        return answer(request, 403, message, sign_in, current)
    sign_in = f"/sign-in?role={error.least}&next={quote(way_back(request), safe='/')}"
    return answer(request, 403, message, sign_in, current)


def _asked(request: Request) -> str:
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


class FaultPages:
    """Answer what no handler expected with a page, then pass the fault on to the server's log.

    Stands inside the middleware that adds the security headers; the framework's own answer would go out
    without.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        has_started = False

        async def note_start(message: Message) -> None:
            nonlocal has_started
            has_started = has_started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, note_start)
        except ClientDisconnect:
            return  # whoever asked went away in mid-request: there is nobody to answer, and nothing is wrong here
        except Exception:
            if scope["type"] == "http" and not has_started:
                await _fault_page(Request(scope))(scope, receive, send)
            raise


def _fault_page(request: Request) -> Response:
    try:
        return answer(request, 500)
    except Exception:
        log.exception("the page for faults failed too")
        return PlainTextResponse(_(ANSWERS[500].usual_message), 500)
