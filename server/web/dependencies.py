"""What routes ask for by type: the database, the moment of the request, who asks.

Each route says the least role that it needs, `@needs(HELPER)`, or that it is `@public`. A route that says nothing
needs the organizer. `admit` sees to that for the whole application, and that a club meets no day but its own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, TypeVar

from fastapi import Depends, Request
from fastapi.datastructures import State
from pydantic import Field
from sqlmodel import Session

from server.services import access, days
from server.services.backups import BackupKeeper
from server.services.jobs import Jobs
from server.services.live import Hub
from server.services.roles import ORGANIZER, may
from server.settings import Settings
from server.storage.session import Database
from server.web.fragments import Fragments

COOKIE = "bandstand_director"
"""Named when there was one role; browsers that are signed in hold it."""
KNOWN_COOKIE = "bandstand_known"
"""By it a browser that was signed in is known again."""
LARGEST_ROW_NUMBER = 2**31 - 1
PUBLIC = "everybody"
UNKNOWN = "unknown"

Endpoint = TypeVar("Endpoint", bound=Callable[..., object])


class SignInNeededError(Exception):
    """A page was asked for without a live session."""


class NotAllowedError(Exception):
    """Whoever asked is signed in as a role that may not do this."""

    def __init__(self, role: str, least: str) -> None:
        super().__init__(f"{role} asked for what {least} may do")
        self.role = role
        self.least = least


@dataclass(frozen=True)
class Who:
    """Who asks: the role of a club that a browser is signed in as."""

    club_id: int
    role: str

    def may(self, least: str) -> bool:
        return may(self.role, least)


def public(endpoint: Endpoint) -> Endpoint:
    """Mark a route's function as open to everyone. Put it under the route's decorator."""
    return needs(PUBLIC)(endpoint)


def needs(least: str) -> Callable[[Endpoint], Endpoint]:
    """Mark a route's function with the least role that may call it. Put it under the route's decorator."""

    def mark(endpoint: Endpoint) -> Endpoint:
        endpoint.least_role = least  # type: ignore[attr-defined]
        return endpoint

    return mark


def least_role(endpoint: object) -> str:
    """The least role that a route's function needs; PUBLIC where it needs none."""
    return str(getattr(endpoint, "least_role", ORGANIZER))


def local_address(address: str) -> str:
    """The address if it lies on this server, else the first page: a sign-in leads nowhere else."""
    is_local = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if is_local and address.isprintable() else "/"


def admit(request: Request) -> None:
    """Let a request through if its route is public, or its cookie belongs to a live session that may.

    Another club's day is answered like a day that does not exist, whatever the role: so this comes first.
    """
    route = request.scope.get("route")
    least = least_role(getattr(route, "endpoint", None))
    if least == PUBLIC:
        return
    state, token, code = request.app.state, request.cookies.get(COOKIE, ""), request.path_params.get("code")
    with state.database.read() as session:
        who = _who(session, token, state.clock())
        if who is None:
            raise SignInNeededError
        if code is not None:
            days.refuse_other_clubs(session, code, who.club_id)
    if not who.may(least):
        raise NotAllowedError(who.role, least)
    state.crew_comes()
    request.state.who = who
    request.state.is_still_admitted = lambda: _is_still(state, token, who)


def who_asks(request: Request) -> Who | None:
    """Who looks at a public page; None for a stranger. From then on its template knows what they may."""
    token, state = request.cookies.get(COOKIE), request.app.state
    if not token:
        return None
    with state.database.read() as session:
        request.state.who_looks = _who(session, token, state.clock())
    return request.state.who_looks


def require(request: Request, least: str) -> None:
    """For a part of what a route does. Raises NotAllowedError."""
    who: Who = request.state.who
    if not who.may(least):
        raise NotAllowedError(who.role, least)


def _who(session: Session, token: str, at: datetime) -> Who | None:
    one = access.signed_in(session, token, at) if token else None
    return Who(one.club_id, one.role) if one else None


def _is_still(state: State, token: str, who: Who) -> bool:
    with state.database.read() as session:
        return _who(session, token, state.clock()) == who


def client_address(request: Request) -> str:
    """Where a request comes from, as far as it is known.

    A proxy on this machine that passes no word of who asks would make everybody look like this machine itself,
    which guessing is not slowed for.
    """
    host, settings = request.client.host if request.client else UNKNOWN, request.app.state.settings
    is_behind_proxy = settings.public_origins and not settings.certificate
    if is_behind_proxy and host in settings.trusted_proxies and "X-Forwarded-For" not in request.headers:
        return UNKNOWN
    return host


def _state(request: Request) -> State:
    return request.app.state


def _database(request: Request) -> Database:
    """The database, for the work of whoever is signed in: their role stands in the logbook."""
    who, database = signed_in_of(request), request.app.state.database
    return database.acted_on_by(who.role) if who else database


def signed_in_of(request: Request) -> Who | None:
    """Who was let in to a route that is not public; None on public ones."""
    return getattr(request.state, "who", None)


def _signed_in(request: Request) -> Who:
    who = signed_in_of(request)
    assert who is not None, "only routes that are not public know who asks"
    return who


def _hub(state: Annotated[State, Depends(_state)]) -> Hub:
    return state.hub


def _fragments(state: Annotated[State, Depends(_state)]) -> Fragments:
    return state.fragments


def _jobs(state: Annotated[State, Depends(_state)]) -> Jobs:
    return state.jobs


def _backups(state: Annotated[State, Depends(_state)]) -> BackupKeeper:
    return state.backups


def _settings(state: Annotated[State, Depends(_state)]) -> Settings:
    return state.settings


def _now(state: Annotated[State, Depends(_state)]) -> datetime:
    return state.clock()


DatabaseOfApp = Annotated[Database, Depends(_database)]
HubOfApp = Annotated[Hub, Depends(_hub)]
FragmentsOfApp = Annotated[Fragments, Depends(_fragments)]
JobsOfApp = Annotated[Jobs, Depends(_jobs)]
BackupsOfApp = Annotated[BackupKeeper, Depends(_backups)]
SettingsOfApp = Annotated[Settings, Depends(_settings)]
Now = Annotated[datetime, Depends(_now)]
"""The clock, read once for the whole request."""
RowNumber = Annotated[int, Field(ge=-LARGEST_ROW_NUMBER, le=LARGEST_ROW_NUMBER)]
"""A number out of an address by which a row is looked for; databases refuse larger ones with errors of theirs."""
WhoAsks = Annotated[Who, Depends(_signed_in)]
"""Who is signed in, on every route that is not public."""
WhoLooks = Annotated[Who | None, Depends(who_asks)]
"""Who is signed in, on public ones; None for a stranger."""
