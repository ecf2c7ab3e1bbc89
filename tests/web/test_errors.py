import logging
import re

import pytest
from fastapi import HTTPException
from starlette.testclient import TestClient

from server.services import errors as refusals
from server.web.dependencies import public
from server.web.errors import ANSWERS, STATUSES
from tests.factories import make_day
from tests.web.conftest import ADDRESS

SENTENCE = "Otter's goggles cannot show that channel."


class _MoreSpecialError(refusals.RefusedError):
    pass


def raising(app, error):
    """A public page that raises, and a browser to ask for it."""

    @app.api_route("/raises", methods=["GET", "POST"])
    @public
    def raises():
        raise error

    return TestClient(app, ADDRESS, headers={"Origin": ADDRESS}, raise_server_exceptions=False)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (refusals.NotFoundError(SENTENCE), 404),
        (refusals.InputError({"receives": SENTENCE}), 422),
        (refusals.RefusedError(SENTENCE), 422),
        (_MoreSpecialError(SENTENCE), 422),  # answered like its parent
        (refusals.OvertakenError(SENTENCE), 409),
        (HTTPException(403, SENTENCE), 403),
    ],
)
def test_an_error_is_answered_with_its_status_and_its_own_sentence(app, error, status):
    answer = raising(app, error).get("/raises")
    assert answer.status_code == status
    assert "Otter&#39;s goggles cannot show that channel." in answer.text
    assert "<h1>" in answer.text


def test_every_error_of_a_service_has_a_status():
    family = {
        cls
        for cls in vars(refusals).values()
        if isinstance(cls, type) and cls.__mro__[1] is refusals.ServiceError
    }
    assert family <= set(STATUSES)


@pytest.mark.parametrize("status", ANSWERS)
def test_every_status_has_a_page_that_says_what_to_do(app, status):
    answer = raising(app, HTTPException(status)).get("/raises")
    assert answer.status_code == status
    assert ANSWERS[status].usual_message in answer.text
    assert answer.text.count("<p>") >= 2  # what is wrong, and the cure


def test_too_many_tries_say_when_to_come_back(app):
    answer = raising(app, refusals.TooManyTriesError(61)).get("/raises")
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "61"
    assert "Try again in 2 min." in answer.text


@pytest.mark.parametrize("address", ["/nowhere", "/days/none/logbook", "/days/none/logbook?before=x"])
def test_a_wrong_address_is_answered_with_a_page(director, address):
    answer = director.get(address)
    assert answer.status_code in (404, 422)
    assert "<h1>Not" in answer.text


def test_a_method_that_an_address_does_not_take_is_answered_with_a_page(client):
    answer = client.put("/health")
    assert answer.status_code == 405
    assert answer.headers["Allow"] == "GET"
    assert "<h1>" in answer.text


def test_an_address_that_takes_presses_only_names_the_page_that_it_belongs_to(director):
    answer = director.get("/days/tern/line/hours")
    assert answer.status_code == 405
    assert re.search(r'<a [^>]*href="/days/tern/line"[^>]*>Open that page</a>', answer.text)


@pytest.mark.parametrize("status", [400, 405])
def test_nobody_is_told_to_reload_what_a_reload_cannot_mend(app, status):
    assert "reload" not in raising(app, HTTPException(status)).get("/raises").text


def test_a_press_after_the_sign_in_ended_leads_back_to_its_page(client):
    page = {"Referer": f"{ADDRESS}/days/tern/line"}
    answer = client.post("/days/tern/line/lift", headers=page)
    assert answer.status_code == 403
    assert "Nobody is signed in here any more, so this was not done." in answer.text
    assert answer.text.count('href="/sign-in?next=/days/tern/line"') == 2
    strip = client.post("/days/tern/line/lift", headers=page | {"HX-Request": "true"}).text
    assert "so this was not done. Sign in in another tab, then press again here" in strip
    assert '<a href="/sign-in?next=/days/tern/line" target="_blank">' in strip


def test_a_press_of_who_may_not_leads_back_to_its_page_as_who_may(helper, database):
    with database.write() as session:
        make_day(session, code="tern")
    answer = helper.post("/days/tern/line/lift", headers={"Referer": f"{ADDRESS}/days/tern/check-in"})
    assert 'href="/sign-in?role=director&amp;next=/days/tern/check-in" target="_blank"' in answer.text


def test_a_fault_of_ours_shows_a_page_and_no_traceback(app):
    answer = raising(app, ZeroDivisionError("secret detail")).get("/raises")
    assert answer.status_code == 500
    assert "Nothing that was saved is lost." in answer.text
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert "Content-Security-Policy" in answer.headers


def test_a_fault_of_ours_still_reaches_the_log(app):
    client = raising(app, ZeroDivisionError("to the log"))
    client = TestClient(app, ADDRESS)
    with pytest.raises(ZeroDivisionError, match="to the log"):
        client.get("/raises")


def test_a_page_for_faults_that_fails_itself_leaves_a_sentence(app, monkeypatch, caplog):
    client = raising(app, ZeroDivisionError())
    monkeypatch.setattr(app.state.templates, "TemplateResponse", None)
    with caplog.at_level(logging.ERROR):
        answer = client.get("/raises")
    assert (answer.status_code, answer.text) == (500, ANSWERS[500].usual_message)
    assert "failed too" in caplog.text


def test_htmx_gets_a_strip_on_top_of_the_page_that_stays(app):
    client = raising(app, refusals.RefusedError(SENTENCE))
    answer = client.post("/raises", headers={"HX-Request": "true", "HX-Request-Type": "partial"})
    assert answer.status_code == 422
    assert answer.headers["HX-Retarget"] == "#main"
    assert answer.headers["HX-Reswap"] == "afterbegin show:top"  # in sight, wherever the page was scrolled to
    assert answer.text.lstrip().startswith('<div class="notice')
    assert "<html" not in answer.text


@pytest.mark.parametrize("accept", ["text/event-stream", "application/json"])
def test_a_script_gets_a_line_of_text(app, accept):
    answer = raising(app, refusals.NotFoundError(SENTENCE)).get("/raises", headers={"Accept": accept})
    assert (answer.status_code, answer.text) == (404, SENTENCE)
