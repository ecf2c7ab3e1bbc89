from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.main import create_app
from server.services import access
from server.web.dependencies import COOKIE
from tests.factories import NOW
from tests.web.conftest import give_cookie


@pytest.fixture
def pass_phrase(database):
    with database.write() as session:
        return access.make_first_pass_phrase(session, NOW)


def sign_in(client, pass_phrase, next_address="/patterns"):
    return client.post("/sign-in", data={"pass_phrase": pass_phrase, "next": next_address})


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


def test_signing_out_ends_the_session_itself_not_only_the_cookie(director):
    token = director.cookies[COOKIE]
    answer = director.post("/sign-out")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert COOKIE not in director.cookies
    give_cookie(director, token)
    assert director.get("/patterns").status_code == 303
