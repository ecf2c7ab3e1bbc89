import hashlib
import itertools
import json
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from server.services import access, pass_phrases
from server.services.errors import NotFoundError, TooManyTriesError, WrongPassPhraseError
from server.services.roles import DIRECTOR, HELPER, ORGANIZER
from server.services.sign_in_limits import FROM_ALL_STRANGERS, Account
from server.storage import clubs, logbook
from server.storage.access import pass_phrase
from server.storage.session import Database
from tests.factories import FIRST_CLUB, NOW, make_day

HOUR = timedelta(hours=1)
PHONE, LAPTOP = "192.168.8.20", "127.0.0.1"
BOSS, DESK = Account(FIRST_CLUB, ORGANIZER), Account(FIRST_CLUB, HELPER)


@pytest.fixture
def phrase(database):
    with database.write() as session:
        return access.make_first_pass_phrase(session, NOW)


@pytest.fixture
def cheap_hash(monkeypatch):
    """The same function with less work, where a test is not about how hard guessing is."""
    monkeypatch.setattr(pass_phrases, "SCRYPT", {"n": 2, "r": 1, "p": 1})


def sign_in(database, phrase, address=LAPTOP, at=NOW, account=BOSS, known=""):
    """The token of the new session."""
    return admitted(database, phrase, address, at, account, known).token


def admitted(database, phrase, address=LAPTOP, at=NOW, account=BOSS, known=""):
    return access.sign_in(database, account, phrase, address, at, HOUR, known)


def guess(database, address, account=BOSS, at=NOW, known=""):
    with pytest.raises(WrongPassPhraseError):
        sign_in(database, "guess", address, at, account, known)


def phrase_for(database, account):
    with database.write() as session:
        return access.make_pass_phrase(session, account, NOW)


def is_signed_in(database, token, at=NOW):
    with database.read() as session:
        return access.signed_in(session, token, at) is not None


def test_a_pass_phrase_is_six_words_of_our_list(phrase):
    words = phrase.split(" ")
    assert len(words) == 6
    assert set(words) <= set(pass_phrases.words())


def test_the_list_gives_more_than_fifty_bits_and_no_word_twice():
    words = pass_phrases.words()
    assert len(words) ** pass_phrases.WORDS_IN_PHRASE >= 2**50
    assert len(set(words)) == len(words)
    assert all(word.isascii() and word.islower() and word.isalpha() and 3 <= len(word) <= 9 for word in words)


def test_no_word_is_the_plural_of_another():
    """A phrase is read out across a field: "oat" and "oats" sound alike."""
    words = set(pass_phrases.words())
    assert [word for word in words if f"{word}s" in words] == []


def test_a_pass_phrase_is_made_once(database, phrase):
    with database.write() as session:
        assert access.make_first_pass_phrase(session, NOW) is None
    assert sign_in(database, phrase)


def test_two_phrases_differ(database, phrase, cheap_hash):
    with database.write() as session:
        assert access.reset_pass_phrase(session, FIRST_CLUB, NOW) != phrase


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
        kept = pass_phrase(session, FIRST_CLUB, ORGANIZER)
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
        renewed = access.reset_pass_phrase(session, FIRST_CLUB, NOW)
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

    def judged(_):
        try:
            sign_in(database, "guess", PHONE)
        except WrongPassPhraseError:
            return "judged"
        except TooManyTriesError:
            return "refused"

    with ThreadPoolExecutor(16) as threads:
        results = list(threads.map(judged, range(40)))
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

    monkeypatch.setattr(pass_phrases.hashlib, "scrypt", slow_hash)
    started = time.monotonic()
    assert sign_in(database, phrase)
    assert time.monotonic() - started < 3


def test_what_happens_is_in_the_logbook_without_the_phrase(database, phrase):
    token = sign_in(database, phrase)
    with database.write() as session:
        access.sign_out(session, token, NOW)
        renewed = access.reset_pass_phrase(session, FIRST_CLUB, NOW)
        entries = logbook.newest_first(session, make_day(session).id, limit=10)
    assert [entry.action for entry in entries] == [
        "pass phrase reset",
        "signed out",
        "signed in",
        "pass phrase made",
    ]
    written = " ".join(f"{entry.text} {entry.data_json}" for entry in entries)
    assert phrase not in written
    assert renewed not in written


@pytest.mark.parametrize("role", [DIRECTOR, HELPER])
def test_each_role_has_a_phrase_of_its_own(database, phrase, cheap_hash, role):
    account = Account(FIRST_CLUB, role)
    own = phrase_for(database, account)
    token = sign_in(database, own, account=account)
    with database.read() as session:
        assert access.signed_in(session, token, NOW).role == role
    for wrong, at_account in ((own, BOSS), (phrase, account)):
        with pytest.raises(WrongPassPhraseError):
            sign_in(database, wrong, account=at_account)


def test_a_new_phrase_signs_out_those_of_its_role_only(database, cheap_hash):
    desk = sign_in(database, phrase_for(database, DESK), account=DESK)
    boss = sign_in(database, phrase_for(database, BOSS))
    phrase_for(database, DESK)
    assert not is_signed_in(database, desk)
    assert is_signed_in(database, boss)


def test_who_makes_their_own_new_phrase_stays_signed_in(database, cheap_hash):
    first = phrase_for(database, BOSS)
    own, other = sign_in(database, first), sign_in(database, first)
    with database.write() as session:
        access.make_pass_phrase(session, BOSS, NOW, own)
    assert is_signed_in(database, own)
    assert not is_signed_in(database, other)


def test_a_reset_leaves_other_clubs_signed_in(database, cheap_hash):
    with database.write() as session:
        other = Account(clubs.add(session, "Curlew Moor", NOW).id, ORGANIZER)
    token = sign_in(database, phrase_for(database, other), account=other)
    with database.write() as session:
        access.reset_pass_phrase(session, FIRST_CLUB, NOW)
    assert is_signed_in(database, token)


@pytest.mark.parametrize("account", [DESK, Account(0, ORGANIZER)])
def test_a_role_without_a_phrase_costs_a_guess_as_much(database, phrase, monkeypatch, account):
    """Nothing tells which roles and clubs have one: the same work, the same refusal."""
    hashed, costs = hashlib.scrypt, []

    def counting(*arguments, n, r, p, **options):
        costs.append((n, r, p))
        return hashed(*arguments, n=2, r=1, p=1, **options)

    monkeypatch.setattr(pass_phrases.hashlib, "scrypt", counting)
    guess(database, PHONE, account)
    guess(database, PHONE)
    assert costs == [(2**15, 8, 1)] * 2


def test_wrong_tries_for_one_account_leave_the_others_open(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    for _ in range(10):
        guess(database, PHONE, DESK)
    with pytest.raises(TooManyTriesError):
        sign_in(database, "guess", PHONE, account=DESK)
    assert sign_in(database, phrase, PHONE)


def crowd(database, account=BOSS, at=NOW):
    """Strangers at many addresses guess until no stranger may."""
    addresses = (f"10.0.{number // 250}.{number % 250 + 1}" for number in itertools.count())
    for address in itertools.islice(addresses, FROM_ALL_STRANGERS):
        guess(database, address, account, at)


def test_many_addresses_do_not_give_more_than_a_hundred_tries(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    crowd(database)
    with pytest.raises(TooManyTriesError) as refused:
        sign_in(database, phrase, "10.9.9.9")
    assert refused.value.retry_after_s == 15 * 60
    assert "Sign in on the machine that runs Bandstand, or in a browser" in str(refused.value)
    assert "in 15 min" in str(refused.value)
    assert sign_in(database, phrase, "10.9.9.9", NOW + timedelta(minutes=15))


def test_addresses_of_one_ipv6_network_are_one_place(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    for number in range(10):
        guess(database, f"2001:db8:1:2::{number + 1:x}", BOSS, NOW)
    with pytest.raises(TooManyTriesError):
        sign_in(database, phrase, "2001:db8:1:2:ffff::9")
    assert sign_in(database, phrase, "2001:db8:1:3::1")


def test_a_crowd_of_strangers_shuts_nobody_out_who_was_here_before(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    known = admitted(database, phrase, PHONE).known
    crowd(database)
    assert sign_in(database, phrase, PHONE, known=known)
    assert sign_in(database, phrase, LAPTOP)  # the machine itself


def test_a_browser_that_was_here_before_has_ten_tries_too(database, cheap_hash):
    known = admitted(database, phrase_for(database, BOSS), PHONE).known
    for number in range(10):
        guess(database, f"10.0.0.{number}", known=known)
    with pytest.raises(TooManyTriesError):
        sign_in(database, "guess", "10.0.1.1", known=known)


def test_a_browser_is_known_to_the_account_that_it_was_signed_in_to_only(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    helper = admitted(database, phrase_for(database, DESK), PHONE, account=DESK)
    crowd(database)
    with pytest.raises(TooManyTriesError):
        sign_in(database, phrase, PHONE, known=helper.known)
    with pytest.raises(TooManyTriesError):
        sign_in(database, phrase, PHONE, known="made up")


def test_a_made_up_mark_of_a_known_browser_is_not_taken_over(database, cheap_hash):
    first = admitted(database, phrase_for(database, BOSS), PHONE, known="made up")
    assert first.known != "made up"
    again = admitted(database, phrase_for(database, BOSS), PHONE, known=first.known)
    assert again.known == first.known


def test_the_organizer_ends_one_sign_in_or_all_others(database, cheap_hash):
    phrase = phrase_for(database, BOSS)
    own, second, third = (sign_in(database, phrase) for _ in range(3))
    with database.write() as session:
        number = access.signed_in(session, second, NOW).id
        access.sign_one_out(session, FIRST_CLUB, number, NOW)
        with pytest.raises(NotFoundError):
            access.sign_one_out(session, FIRST_CLUB, number, NOW)
    assert [is_signed_in(database, token) for token in (own, second, third)] == [True, False, True]
    with database.write() as session:
        access.sign_others_out(session, FIRST_CLUB, own, NOW)
    assert [is_signed_in(database, token) for token in (own, third)] == [True, False]


def test_nobody_ends_another_clubs_sign_ins(database, cheap_hash):
    token = sign_in(database, phrase_for(database, BOSS))
    with database.write() as session:
        other = clubs.add(session, "Curlew Moor", NOW).id
        number = access.signed_in(session, token, NOW).id
        with pytest.raises(NotFoundError):
            access.sign_one_out(session, other, number, NOW)
        access.sign_others_out(session, other, "", NOW)
        assert access.everybody(session, other, NOW) == []
    assert is_signed_in(database, token)


@pytest.mark.parametrize(
    ("address", "kind"),
    [
        ("127.0.0.1", "this machine"),
        ("::1", "this machine"),
        ("192.168.8.20", "this network"),
        ("fe80::1", "this network"),
        ("8.8.8.8", "elsewhere"),  # an address of the public internet
        ("unknown", "elsewhere"),
    ],
)
def test_of_an_address_only_its_kind_is_kept(database, cheap_hash, address, kind):
    phrase = phrase_for(database, BOSS)
    sign_in(database, phrase, address)
    with database.read() as session:
        assert [one.came_from for one in access.everybody(session, FIRST_CLUB, NOW)] == [kind]
