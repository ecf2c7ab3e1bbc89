"""How many wrong pass phrases are taken: from one source, and for one account from everybody together.

A source is a network address, or a browser that was signed in to this account before. Strangers at many
addresses share a larger limit, which holds for strangers only: whoever they keep out has never been signed in
from this browser, and sits at another machine than the server.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from server.services.errors import TooManyTriesError
from server.storage import access
from server.storage.tables import FailedSignIn

COUNTED_FOR = timedelta(minutes=15)
FROM_ONE_SOURCE = 10
FROM_ALL_STRANGERS = 100


@dataclass(frozen=True)
class Account:
    """Who signs in. `club_id` is 0 for every club that does not exist."""

    club_id: int
    role: str


@dataclass(frozen=True)
class Source:
    """Where a try comes from. `is_known` frees it of what strangers do, never of its own limit."""

    mark: str
    is_known: bool


def count_try(session: Session, account: Account, source: Source, at: datetime) -> None:
    """Count a try before it is judged, so that many at once cannot slip past together.

    Raises TooManyTriesError.
    """
    access.forget_failures(session, at - COUNTED_FOR)
    tries = access.failures(session, account.club_id, account.role)
    _refuse_beyond(FROM_ONE_SOURCE, [one for one in tries if one.source == source.mark], at)
    if not source.is_known:
        strangers = [one for one in tries if not one.is_known]
        _refuse_beyond(FROM_ALL_STRANGERS, strangers, at, is_of_strangers=True)
    failure = FailedSignIn(
        club_id=account.club_id, role=account.role, source=source.mark, is_known=source.is_known, at=at
    )
    access.add_failure(session, failure)


def _refuse_beyond(
    allowed: int, tries: Sequence[FailedSignIn], at: datetime, is_of_strangers: bool = False
) -> None:
    if len(tries) >= allowed:
        free_again = tries[-allowed].at + COUNTED_FOR
        raise TooManyTriesError(max(1, round((free_again - at).total_seconds())), is_of_strangers)
