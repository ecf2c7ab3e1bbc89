"""What routes ask for by type: the database, the moment of the request, who asks.

Every route needs the director's session unless its function is marked `@public`; `admit` sees to that for the
whole application, so a route that forgets to say anything is closed.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, TypeVar

from fastapi import Depends, Request
from fastapi.datastructures import State
from pydantic import Field

from server.services import access
from server.services.backups import BackupKeeper
from server.services.jobs import Jobs
from server.services.live import Hub
from server.settings import Settings
from server.storage.session import Database
from server.web.fragments import Fragments

COOKIE = "bandstand_director"
LARGEST_ROW_NUMBER = 2**31 - 1

Endpoint = TypeVar("Endpoint", bound=Callable[..., object])


class SignInNeededError(Exception):
    """A page of the director's was asked for without a live session."""


def public(endpoint: Endpoint) -> Endpoint:
    """Mark a route's function as open to everyone. Put it under the route's decorator."""
    endpoint.is_public = True  # type: ignore[attr-defined]
    return endpoint


def local_address(address: str) -> str:
    """The address if it lies on this server, else the first page: a sign-in leads nowhere else."""
    is_local = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if is_local and address.isprintable() else "/"


def is_public(endpoint: object) -> bool:
    return getattr(endpoint, "is_public", False)


def admit(request: Request) -> None:
    """Let a request through if its route is public or its cookie belongs to a live session."""
    route = request.scope.get("route")
    if not is_public(getattr(route, "endpoint", None)) and not is_director(request):
        raise SignInNeededError


def is_director(request: Request) -> bool:
    token = request.cookies.get(COOKIE)
    if not token:
        return False
    state = request.app.state
    with state.database.read() as session:
        return access.is_signed_in(session, token, state.clock())


def client_address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def _state(request: Request) -> State:
    return request.app.state


def _database(state: Annotated[State, Depends(_state)]) -> Database:
    return state.database


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
IsDirector = Annotated[bool, Depends(is_director)]
"""On public pages: whether the director looks at them."""
