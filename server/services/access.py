"""Who is signed in, and how they come in and go out.

A signed-in browser holds a random token; the database holds its hash, so that a session can be ended from
here and a copied data file opens nothing. A second cookie outlives the session: by it a browser is known again
that was signed in before, so that strangers who guess cannot shut it out (`sign_in_limits.py`).
"""

import hashlib
import ipaddress
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from server.services import pass_phrases
from server.services.errors import NotFoundError, WrongPassPhraseError
from server.services.roles import DIRECTOR, HELPER, ORGANIZER
from server.services.sign_in_limits import Account, Source, count_try
from server.storage import access, clubs, logbook
from server.storage.session import Database
from server.storage.tables import SignedIn
from server.wording import gettext as _
from server.wording import marked

THIS_MACHINE = marked("this machine")
THIS_NETWORK = marked("this network")
ELSEWHERE = marked("elsewhere")

_SIGNED_IN = {
    ORGANIZER: marked("The organizer signed in."),
    DIRECTOR: marked("The director signed in."),
    HELPER: marked("A helper signed in."),
}
_SIGNED_OUT = {
    ORGANIZER: marked("The organizer signed out."),
    DIRECTOR: marked("The director signed out."),
    HELPER: marked("A helper signed out."),
}
_MADE = {
    ORGANIZER: marked("Made a new pass phrase for the organizer."),
    DIRECTOR: marked("Made a new pass phrase for directors."),
    HELPER: marked("Made a new pass phrase for helpers."),
}


@dataclass(frozen=True)
class Admitted:
    """What a browser gets: the token of its session, and the one by which it is known again."""

    token: str
    known: str


def make_first_pass_phrase(session: Session, at: datetime) -> str | None:
    """The organizer's pass phrase of the first club if it has none yet, else None."""
    first = clubs.oldest_first(session)[0].id or 0
    if access.pass_phrase(session, first, ORGANIZER):
        return None
    phrase = pass_phrases.make(session, first, ORGANIZER, at)
    text = _("Made the organizer's first pass phrase.")
    logbook.append(session, None, ORGANIZER, "pass phrase made", text, {}, at, first)
    return phrase


def make_pass_phrase(session: Session, account: Account, at: datetime, kept_token: str = "") -> str:
    """A new pass phrase for a role; all who were signed in as it are signed out, but for one token's browser."""
    access.revoke_all(session, account.club_id, at, account.role, token_hash(kept_token))
    access.forget_failures_of(session, account.club_id, account.role)
    phrase = pass_phrases.make(session, account.club_id, account.role, at)
    text = _(_MADE[account.role])
    logbook.append(session, None, ORGANIZER, "pass phrase made", text, {}, at, account.club_id)
    return phrase


def reset_pass_phrase(session: Session, club_id: int, at: datetime) -> str:
    """A new pass phrase for a club's organizer; every browser of the club is signed out."""
    access.revoke_all(session, club_id, at)
    access.forget_failures_of(session, club_id, ORGANIZER)
    phrase = pass_phrases.make(session, club_id, ORGANIZER, at)
    text = _("Made a new pass phrase for the organizer and signed everybody out.")
    logbook.append(session, None, ORGANIZER, "pass phrase reset", text, {}, at, club_id)
    return phrase


def sign_in(
    database: Database,
    account: Account,
    pass_phrase: str,
    address: str,
    at: datetime,
    lasts: timedelta,
    known: str = "",
) -> Admitted:
    """A new session, if the pass phrase is right. Raises WrongPassPhraseError, TooManyTriesError.

    known  by which the browser says that it was signed in before, empty where it does not

    Takes the database and not a session: hashing takes a tenth of a second, in which nobody else could write.
    """
    with database.write() as session:
        accounts = access.accounts_known_by(session, token_hash(known))
        source = _source(address, known, (account.club_id, account.role) in accounts)
        count_try(session, account, source, at)
        kept = access.pass_phrase(session, account.club_id, account.role)
    if not pass_phrases.is_right(kept, pass_phrase):
        raise WrongPassPhraseError
    admitted = Admitted(secrets.token_urlsafe(32), known if accounts else secrets.token_urlsafe(32))
    one = SignedIn(
        club_id=account.club_id,
        role=account.role,
        token_hash=token_hash(admitted.token),
        known_hash=token_hash(admitted.known),
        came_from=kind_of(address),
        created_at=at,
        expires_at=at + lasts,
    )
    with database.write() as session:
        access.forget_failures_of(session, account.club_id, account.role, source.mark)
        access.add_signed_in(session, one)
        text = _(_SIGNED_IN[account.role])
        logbook.append(session, None, account.role, "signed in", text, {}, at, account.club_id)
    return admitted


def signed_in(session: Session, token: str, at: datetime) -> SignedIn | None:
    """Who is signed in with this token, None where it has run out or was ended."""
    return access.live_one(session, token_hash(token), at)


def everybody(session: Session, club_id: int, at: datetime) -> Sequence[SignedIn]:
    """All who are signed in for the club, the latest first."""
    return access.live_ones(session, club_id, at)


def phrases_made(session: Session, club_id: int) -> dict[str, datetime]:
    """When the pass phrase of each role of the club was made; a role without one is missing."""
    return {one.role: one.made_at for one in access.pass_phrases(session, club_id)}


def sign_out(session: Session, token: str, at: datetime) -> None:
    """End a browser's own session."""
    one = access.live_one(session, token_hash(token), at)
    if one is not None:
        _end(session, one, at)
        logbook.append(session, None, one.role, "signed out", _(_SIGNED_OUT[one.role]), {}, at, one.club_id)


def sign_one_out(session: Session, club_id: int, number: int, at: datetime) -> None:
    """End somebody's session, by the organizer. Raises NotFoundError if it is no live one of the club."""
    one = next((one for one in everybody(session, club_id, at) if one.id == number), None)
    if one is None:
        raise NotFoundError(_("Nobody is signed in there any more."))
    _end(session, one, at)
    text = _("Ended a sign-in as %(role)s.", role=_(one.role))
    logbook.append(session, None, ORGANIZER, "sign-in ended", text, {}, at, club_id)


def sign_others_out(session: Session, club_id: int, own_token: str, at: datetime) -> None:
    """End every session of the club but one's own."""
    access.revoke_all(session, club_id, at, kept_token_hash=token_hash(own_token))
    text = _("Ended every other sign-in.")
    logbook.append(session, None, ORGANIZER, "sign-ins ended", text, {}, at, club_id)


def kind_of(address: str) -> str:
    """What is kept of an address: whether it is this machine's, of a private network, or elsewhere."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return ELSEWHERE
    if found.is_loopback:
        return THIS_MACHINE
    return ELSEWHERE if found.is_global else THIS_NETWORK


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _source(address: str, known: str, is_known: bool) -> Source:
    if is_known:
        return Source(token_hash(known), True)
    return Source(_network(address), kind_of(address) == THIS_MACHINE)


def _network(address: str) -> str:
    """The address; of IPv6 the half that names a network, since the other half is anybody's to choose."""
    try:
        one = ipaddress.ip_address(address)
    except ValueError:
        return address
    return address if one.version == 4 else str(ipaddress.ip_network((one, 64), strict=False))


def _end(session: Session, one: SignedIn, at: datetime) -> None:
    one.revoked_at = at
    session.add(one)
    session.flush()
