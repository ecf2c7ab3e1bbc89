"""The director's pass phrase, and the browsers that are signed in with it.

The phrase is made here, shown once and kept nowhere: six words out of 470 are 53 bits, and scrypt makes each
guess cost a tenth of a second. A signed-in browser holds a random token; the database holds its hash, so
that a session can be ended from here and a copied data file opens nothing.
"""

import hashlib
import hmac
import json
import secrets
import threading
import unicodedata
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

from sqlmodel import Session

from server.services.errors import TooManyTriesError, WrongPassPhraseError
from server.storage import access, logbook
from server.storage.session import Database
from server.storage.tables import DirectorSecret
from server.wording import gettext as _
from server.wording import marked

DIRECTOR = marked("director")
WORDS_IN_PHRASE = 6
SCRYPT = {"n": 2**15, "r": 8, "p": 1}
SCRYPT_MEMORY_BYTES = 64 * 2**20  # n = 2^15 and r = 8 need 32 MiB and a little more

TRIES_ALLOWED = 10
TRIES_COUNTED_FOR = timedelta(minutes=15)

# Each hash takes 32 MiB and a core for a tenth of a second: a crowd of guesses must not stop the planner.
_few_hashes_at_once = threading.BoundedSemaphore(2)


@cache
def words() -> tuple[str, ...]:
    return tuple((Path(__file__).parent / "pass_phrase_words.txt").read_text(encoding="utf-8").split())


def make_first_pass_phrase(session: Session, at: datetime) -> str | None:
    """A pass phrase if this machine has none yet, else None."""
    if access.secret(session):
        return None
    return _make_pass_phrase(session, at, "pass phrase made", _("Made the director's first pass phrase."))


def reset_pass_phrase(session: Session, at: datetime) -> str:
    """A new pass phrase; every browser that was signed in is signed out."""
    access.revoke_all_sessions(session, at)
    return _make_pass_phrase(
        session, at, "pass phrase reset", _("Made a new pass phrase and signed everybody out.")
    )


def sign_in(database: Database, pass_phrase: str, address: str, at: datetime, lasts: timedelta) -> str:
    """The token of a new session, if the pass phrase is right.

    Takes the database and not a session: hashing takes a tenth of a second, in which nobody else could write.
    The try is counted before it is judged, so that many at once cannot slip past the limit together.
    """
    with database.write() as session:
        _count_try(session, address, at)
        secret = access.secret(session)
    if secret is None or not _is_right(secret, pass_phrase):
        raise WrongPassPhraseError
    token = secrets.token_urlsafe(32)
    with database.write() as session:
        access.forget_failures_of(session, address)
        access.add_session(session, _token_hash(token), at, at + lasts)
        logbook.append(session, None, DIRECTOR, "signed in", _("The director signed in."), {}, at)
    return token


def is_signed_in(session: Session, token: str, at: datetime) -> bool:
    return access.live_session(session, _token_hash(token), at) is not None


def sign_out(session: Session, token: str, at: datetime) -> None:
    access.revoke_session(session, _token_hash(token), at)
    logbook.append(session, None, DIRECTOR, "signed out", _("The director signed out."), {}, at)


def _make_pass_phrase(session: Session, at: datetime, action: str, text: str) -> str:
    phrase = " ".join(secrets.choice(words()) for _ in range(WORDS_IN_PHRASE))
    salt = secrets.token_bytes(16)
    access.replace_secret(session, salt, _hash(phrase, salt, SCRYPT), json.dumps(SCRYPT), at)
    logbook.append(session, None, DIRECTOR, action, text, {}, at)
    return phrase


def _is_right(secret: DirectorSecret, pass_phrase: str) -> bool:
    typed = _hash(pass_phrase, secret.salt, json.loads(secret.parameters))
    return hmac.compare_digest(typed, secret.hash)


def _hash(pass_phrase: str, salt: bytes, parameters: dict[str, int]) -> bytes:
    typed = " ".join(unicodedata.normalize("NFKC", pass_phrase).casefold().replace("-", " ").split())
    with _few_hashes_at_once:
        return hashlib.scrypt(typed.encode(), salt=salt, maxmem=SCRYPT_MEMORY_BYTES, **parameters)


def _token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _count_try(session: Session, address: str, at: datetime) -> None:
    counted_from = at - TRIES_COUNTED_FOR
    access.forget_failures(session, counted_from)
    tries = access.failures(session, address)
    if len(tries) >= TRIES_ALLOWED:
        free_again = tries[-TRIES_ALLOWED].at + TRIES_COUNTED_FOR
        raise TooManyTriesError(max(1, round((free_again - at).total_seconds())))
    access.add_failure(session, address, at)
