import hashlib
import json
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from server.services import access
from server.services.errors import TooManyTriesError, WrongPassPhraseError
from server.storage import logbook
from server.storage.access import secret
from server.storage.session import Database
from tests.factories import NOW, make_day

HOUR = timedelta(hours=1)
PHONE, LAPTOP = "192.168.8.20", "127.0.0.1"


@pytest.fixture
def phrase(database):
    with database.write() as session:
        return access.make_first_pass_phrase(session, NOW)


@pytest.fixture
def cheap_hash(monkeypatch):
    """The same function with less work, where a test is not about how hard guessing is."""
    monkeypatch.setattr(access, "SCRYPT", {"n": 2, "r": 1, "p": 1})


def sign_in(database, phrase, address=LAPTOP, at=NOW):
    return access.sign_in(database, phrase, address, at, HOUR)


def is_signed_in(database, token, at=NOW):
    with database.read() as session:
        return access.is_signed_in(session, token, at)


def test_a_pass_phrase_is_six_words_of_our_list(phrase):
    words = phrase.split(" ")
    assert len(words) == 6
    assert set(words) <= set(access.words())


def test_the_list_gives_more_than_fifty_bits_and_no_word_twice():
    words = access.words()
    assert len(words) ** access.WORDS_IN_PHRASE >= 2**50
    assert len(set(words)) == len(words)
    assert all(word.isascii() and word.islower() and word.isalpha() and 3 <= len(word) <= 9 for word in words)


def test_no_word_is_the_plural_of_another():
    """A phrase is read out across a field: "oat" and "oats" sound alike."""
    words = set(access.words())
    assert [word for word in words if f"{word}s" in words] == []


def test_a_pass_phrase_is_made_once(database, phrase):
    with database.write() as session:
        assert access.make_first_pass_phrase(session, NOW) is None
    assert sign_in(database, phrase)


def test_two_phrases_differ(database, phrase, cheap_hash):
    with database.write() as session:
        assert access.reset_pass_phrase(session, NOW) != phrase


def test_the_data_file_holds_neither_phrase_nor_token(data_file, cheap_hash):
    database = Database(data_file)
    with database.write() as session:
        phrase = access.make_first_pass_phrase(session, NOW)
    token = sign_in(database, phrase)
    database.close()
    everything = b"".join(file.read_bytes() for file in data_file.parent.iterdir() if file.is_file())
    assert phrase.encode() not in everything
    assert token.encode() not in everything


def test_each_guess_costs_scrypt_with_n_of_32768(database, phrase):
    with database.read() as session:
        kept = secret(session)
    assert json.loads(kept.parameters) == {"n": 32768, "r": 8, "p": 1}
    expected = hashlib.scrypt(phrase.encode(), salt=kept.salt, n=32768, r=8, p=1, maxmem=2**26)
    assert kept.hash == expected
    assert len(kept.salt) == 16


@pytest.mark.parametrize(
    "change", [str.upper, lambda p: f"  {p.replace(' ', '   ')}\n", lambda p: p.replace(" ", "-")]
)
def test_capitals_spaces_and_hyphens_do_not_matter(database, cheap_hash, change):
    with database.write() as session:
        phrase = access.make_first_pass_phrase(session, NOW)
    assert sign_in(database, change(phrase))


@pytest.mark.parametrize("guess", ["", "heron", "six words that are not it"])
def test_a_wrong_phrase_is_refused(database, phrase, guess):
    with pytest.raises(WrongPassPhraseError):
        sign_in(database, guess)


def test_nobody_signs_in_before_a_phrase_is_made(database):
    with pytest.raises(WrongPassPhraseError):
        sign_in(database, "")


def test_a_session_lasts_its_time(database, phrase, cheap_hash):
    token = sign_in(database, phrase)
    assert is_signed_in(database, token, NOW + HOUR - timedelta(seconds=1))
    assert not is_signed_in(database, token, NOW + HOUR)


def test_signing_out_leaves_other_browsers_signed_in(database, phrase):
    first, second = sign_in(database, phrase), sign_in(database, phrase)
    with database.write() as session:
        access.sign_out(session, first, NOW)
    assert not is_signed_in(database, first)
    assert is_signed_in(database, second)


def test_a_reset_signs_everybody_out_and_the_old_phrase_is_void(database, phrase):
    token = sign_in(database, phrase)
    with database.write() as session:
        renewed = access.reset_pass_phrase(session, NOW)
    assert not is_signed_in(database, token)
    with pytest.raises(WrongPassPhraseError):
        sign_in(database, phrase)
    assert sign_in(database, renewed)


def test_ten_wrong_tries_close_the_door_for_that_address_only(database, cheap_hash):
    with database.write() as session:
        phrase = access.make_first_pass_phrase(session, NOW)
    for second in range(10):
        with pytest.raises(WrongPassPhraseError):
            sign_in(database, "guess", PHONE, NOW + timedelta(seconds=second))
    with pytest.raises(TooManyTriesError) as refused:
        sign_in(database, phrase, PHONE, NOW + timedelta(seconds=60))
    assert refused.value.retry_after_s == 14 * 60
    assert sign_in(database, phrase, LAPTOP, NOW + timedelta(seconds=60))
    assert sign_in(database, phrase, PHONE, NOW + timedelta(minutes=15))


def test_tries_at_once_cannot_slip_past_the_limit(database, cheap_hash):
    with database.write() as session:
        access.make_first_pass_phrase(session, NOW)

    def guess(_):
        try:
            sign_in(database, "guess", PHONE)
        except WrongPassPhraseError:
            return "judged"
        except TooManyTriesError:
            return "refused"

    with ThreadPoolExecutor(16) as threads:
        results = list(threads.map(guess, range(40)))
    assert results.count("judged") == 10


def test_a_right_phrase_clears_the_tries_of_its_address(database, cheap_hash):
    with database.write() as session:
        phrase = access.make_first_pass_phrase(session, NOW)
    for _ in range(3):
        for _ in range(9):
            with pytest.raises(WrongPassPhraseError):
                sign_in(database, "guess", PHONE)
        assert sign_in(database, phrase, PHONE)


def test_nobody_waits_for_a_hash_to_write(database, phrase, monkeypatch):
    """A guess may take its time; the desk goes on checking pilots in."""
    hashed = hashlib.scrypt

    def slow_hash(*arguments, **options):
        with database.write() as session:
            make_day(session)
        return hashed(*arguments, **options)

    monkeypatch.setattr(access.hashlib, "scrypt", slow_hash)
    started = time.monotonic()
    assert sign_in(database, phrase)
    assert time.monotonic() - started < 3


def test_what_happens_is_in_the_logbook_without_the_phrase(database, phrase):
    token = sign_in(database, phrase)
    with database.write() as session:
        access.sign_out(session, token, NOW)
        renewed = access.reset_pass_phrase(session, NOW)
        entries = logbook.newest_first(session, field_day_id=1, limit=10)
    assert [entry.action for entry in entries] == [
        "pass phrase reset",
        "signed out",
        "signed in",
        "pass phrase made",
    ]
    written = " ".join(f"{entry.text} {entry.data_json}" for entry in entries)
    assert phrase not in written
    assert renewed not in written
