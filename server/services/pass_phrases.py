"""Pass phrases: made here, shown once and kept nowhere.

Six words out of 470 are 53 bits, and scrypt makes each guess cost a tenth of a second. A role without a phrase
costs a guess as much, so that nothing tells which roles have one.
"""

import hashlib
import hmac
import json
import secrets
import threading
import unicodedata
from datetime import datetime
from functools import cache
from pathlib import Path

from sqlmodel import Session

from server.storage import access
from server.storage.tables import PassPhrase

WORDS_IN_PHRASE = 6
SALT_BYTES = 16
SCRYPT = {"n": 2**15, "r": 8, "p": 1}
SCRYPT_MEMORY_BYTES = 64 * 2**20  # n = 2^15 and r = 8 need 32 MiB and a little more

# Each hash takes 32 MiB and a core for a tenth of a second: a crowd of guesses must not stop the planner.
_few_hashes_at_once = threading.BoundedSemaphore(2)


@cache
def words() -> tuple[str, ...]:
    return tuple((Path(__file__).parent / "pass_phrase_words.txt").read_text(encoding="utf-8").split())


def make(session: Session, club_id: int, role: str, at: datetime) -> str:
    """A new phrase in place of the one that this role of the club had."""
    phrase = " ".join(secrets.choice(words()) for _ in range(WORDS_IN_PHRASE))
    salt = secrets.token_bytes(SALT_BYTES)
    kept = PassPhrase(
        club_id=club_id,
        role=role,
        salt=salt,
        hash=_hash(phrase, salt, SCRYPT),
        parameters=json.dumps(SCRYPT),
        made_at=at,
    )
    access.replace_pass_phrase(session, kept)
    return phrase


def is_right(kept: PassPhrase | None, typed: str) -> bool:
    """Whether this is the phrase; never where there is none, after as long a time."""
    if kept is None:
        _hash(typed, bytes(SALT_BYTES), SCRYPT)
        return False
    return hmac.compare_digest(_hash(typed, kept.salt, json.loads(kept.parameters)), kept.hash)


def _hash(phrase: str, salt: bytes, parameters: dict[str, int]) -> bytes:
    typed = " ".join(unicodedata.normalize("NFKC", phrase).casefold().replace("-", " ").split())
    with _few_hashes_at_once:
        return hashlib.scrypt(typed.encode(), salt=salt, maxmem=SCRYPT_MEMORY_BYTES, **parameters)
