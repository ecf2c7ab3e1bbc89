import html
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.main import create_app
from server.services import access, clubs
from server.services.roles import HELPER, ORGANIZER
from server.services.sign_in_limits import Account
from server.web.dependencies import COOKIE, KNOWN_COOKIE
from tests.factories import FIRST_CLUB, NOW
from tests.web.conftest import give_cookie


@pytest.fixture
def pass_phrase(database):
    with database.write() as session:
        return access.make_first_pass_phrase(session, NOW)


def sign_in(client, pass_phrase, next_address="/patterns", **fields):
    form = {"role": "organizer", "pass_phrase": pass_phrase, "next": next_address} | fields
    return client.post("/sign-in", data=form)


def test_the_right_pass_phrase_opens_the_page_that_was_asked_for(client, pass_phrase):
    answer = sign_in(client, pass_phrase)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/patterns")
    assert client.get("/patterns").status_code == 200


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(client, pass_phrase):
    cookie = sign_in(client, pass_phrase).headers["Set-Cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Max-Age=259200" in cookie
    assert "Secure" not in cookie  # plain http on the field


def test_the_cookie_is_kept_to_https_where_there_is_https(settings, pass_phrase):
    address = "https://localhost"
    with TestClient(create_app(settings, lambda: NOW), address, headers={"Origin": address}) as client:
        assert "Secure" in sign_in(client, pass_phrase, "/health").history[0].headers["Set-Cookie"]


def test_a_wrong_pass_phrase_is_said_under_its_field(client, pass_phrase):
    answer = sign_in(client, "six words that are not it")
    assert answer.status_code == 422
    assert 'id="pass_phrase-error">This is not the pass phrase.' in answer.text
    assert 'name="next" value="/patterns"' in answer.text
    assert COOKIE not in client.cookies


def test_an_empty_form_is_answered_as_a_wrong_pass_phrase(client, pass_phrase):
    assert client.post("/sign-in", data={}).status_code == 422


def test_the_eleventh_try_from_one_address_has_to_wait(app, client, pass_phrase):
    for _ in range(10):
        assert sign_in(client, "wrong").status_code == 422
    answer = sign_in(client, pass_phrase)
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "900"
    assert "Try again in 15 min." in answer.text
    app.state.clock = lambda: NOW + timedelta(minutes=15)
    assert sign_in(client, pass_phrase).status_code == 303


@pytest.mark.parametrize(
    ("asked", "leads_to"),
    [
        ("/days/tern/logbook?before=3", "/days/tern/logbook?before=3"),
        ("https://evil.example/", "/"),
        ("//evil.example/", "/"),
        ("/\\evil.example", "/"),
        ("/\n/evil.example", "/"),
        ("days", "/"),
    ],
)
def test_a_sign_in_leads_nowhere_else(client, pass_phrase, asked, leads_to):
    assert sign_in(client, pass_phrase, asked).headers["Location"] == leads_to
    assert f'value="{leads_to}"' in client.get("/sign-in", params={"next": asked}).text


def test_the_organizer_is_chosen_at_first_and_then_who_was_signed_in_last(client, database):
    assert 'value="organizer" checked' in client.get("/sign-in").text
    with database.write() as session:
        phrase = access.make_pass_phrase(session, Account(FIRST_CLUB, HELPER), NOW)
    assert sign_in(client, phrase, role="helper").status_code == 303
    client.post("/sign-out")
    assert 'value="helper" checked' in client.get("/sign-in").text
    assert 'value="director" checked' in client.get("/sign-in?role=director").text


def test_the_mark_of_a_known_browser_goes_to_the_sign_in_only(client, pass_phrase):
    cookies = sign_in(client, pass_phrase).headers.get_list("Set-Cookie")
    (mark,) = [cookie for cookie in cookies if cookie.startswith(f"{KNOWN_COOKIE}=")]
    assert "Path=/sign-in" in mark
    assert "HttpOnly" in mark


@pytest.mark.parametrize("value", ["", ".", "x.y", "1.director.made up", "....", "9.organizer."])
def test_a_broken_mark_of_a_known_browser_is_no_matter(client, pass_phrase, value):
    client.cookies.set(KNOWN_COOKIE, value, domain="localhost.local", path="/sign-in")
    assert client.get("/sign-in").status_code == 200
    assert sign_in(client, pass_phrase).status_code == 303


def test_nobody_signs_in_as_something_else(client, pass_phrase):
    answer = sign_in(client, pass_phrase, role="pilot")
    assert answer.status_code == 422
    assert "Choose who signs in." in answer.text


def test_a_server_of_one_club_asks_for_none(client):
    assert 'name="club"' not in client.get("/sign-in").text


def test_a_server_of_several_clubs_asks_for_which(client, database, pass_phrase):
    with database.write() as session:
        other = clubs.make_club(session, "Curlew Moor", NOW).id
        theirs = access.make_pass_phrase(session, Account(other, ORGANIZER), NOW)
    assert "Curlew Moor</option>" in client.get("/sign-in").text
    assert "Choose the club." in sign_in(client, pass_phrase).text
    wrong = sign_in(client, pass_phrase, club=str(other))
    assert wrong.status_code == 422
    assert f'value="{other}" selected' in wrong.text
    assert sign_in(client, "six words", club="99").text.count("This is not the pass phrase.") == 1
    assert sign_in(client, theirs, club=str(other)).status_code == 303


def test_the_cure_for_a_lost_phrase_names_the_club_where_there_are_several(client, database):
    assert "organizer reset</code>. Where" in client.get("/sign-in").text
    with database.write() as session:
        other = clubs.make_club(session, "Curlew Moor", NOW).id
        clubs.make_club(session, 'The "$5" club', NOW)
    page = html.unescape(client.get("/sign-in").text)
    for name in ('"First club"', '"Curlew Moor"', "'The \"$5\" club'"):
        assert f"organizer reset --club {name}</code>" in page
    chosen = html.unescape(sign_in(client, "six words", club=str(other)).text)
    assert 'reset --club "Curlew Moor"</code>. Where' in chosen
    assert '"First club"' not in chosen


def test_signing_out_ends_the_session_itself_not_only_the_cookie(organizer):
    token = organizer.cookies[COOKIE]
    answer = organizer.post("/sign-out")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert COOKIE not in organizer.cookies
    give_cookie(organizer, token)
    assert organizer.get("/patterns").status_code == 303
