"""Deny by default: what does not say that it is public needs a sign-in."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import APIRouter, FastAPI, Request
from fastapi.routing import iter_route_contexts
from starlette.routing import Mount

from server.main import create_app
from server.web.dependencies import PUBLIC as EVERYBODY
from server.web.dependencies import UNKNOWN, client_address, least_role
from server.web.routes import ROUTERS
from tests.factories import NOW, make_day
from tests.web.conftest import give_cookie

PUBLIC = {
    "/",
    "/board/{code}",
    "/board/{code}/stream",
    "/board/{code}/state",
    "/join/{code}",
    "/look",
    "/slot/{token}",
    "/slot/{token}/stream",
    "/slot/{token}/state",
    "/slot/{token}/ask",
    "/slot/{token}/trouble",
    "/slot/{token}/turns/{turn_id}/{name}",
    "/slot/{token}/call/{slot_id}/{name}",
    "/slot/{token}/clearance",
    "/slot/{token}/clearances/{clearance_id}/{name}",
    "/guide",
    "/privacy",
    "/ready",
    "/health",
    "/sign-in",
}


def served(app):
    """Address, methods and function of every route, however deep its router."""
    for route in iter_route_contexts(app.routes):
        if not isinstance(route.original_route, Mount):
            yield route.path, sorted(route.methods), route.endpoint


def filled(path):
    return re.sub(r"{\w+}", "1", path)


def test_every_route_that_is_not_public_asks_for_the_sign_in(app, client):
    closed = [(path, methods) for path, methods, endpoint in served(app) if least_role(endpoint) != EVERYBODY]
    assert ("/days/{code}/logbook", ["GET"]) in closed
    for path, methods in closed:
        for method in methods:
            answer = client.request(method, filled(path))
            expected = (303, 307) if method == "GET" else (403,)
            assert answer.status_code in expected, (method, path)
            assert "/sign-in" in answer.headers.get("Location", answer.text), (method, path)


def test_only_what_is_meant_for_everybody_is_public(app):
    assert {path for path, _, endpoint in served(app) if least_role(endpoint) == EVERYBODY} <= PUBLIC


def test_the_only_folder_served_is_that_of_static_files(app):
    folders = [route for route in app.routes if isinstance(route, Mount)]
    assert [folder.path for folder in folders] == ["/static"]


def test_no_description_of_the_addresses_is_handed_out(client):
    for address in ("/docs", "/redoc", "/openapi.json"):
        assert client.get(address).status_code == 404


def test_a_route_that_says_nothing_is_closed(app, client):
    router = APIRouter()
    router.get("/forgotten")(lambda: "open")
    outer = APIRouter()
    outer.include_router(router)
    app.include_router(outer)
    assert client.get("/forgotten").status_code == 303


def test_every_router_module_is_served(settings):
    routes = {endpoint for _, _, endpoint in served(create_app(settings))}
    assert {route.endpoint for router in ROUTERS for route in router.routes} <= routes


def test_the_sign_in_leads_back_to_the_page_that_was_asked_for(client):
    answer = client.get("/days/tern/logbook?before=3")
    assert answer.headers["Location"] == "/sign-in?next=/days/tern/logbook%3Fbefore%3D3"


@pytest.mark.parametrize(
    ("headers", "kept"),
    [({}, "it is still in the form"), ({"HX-Request": "true"}, "what you typed is still on this page")],
)
def test_a_form_sent_after_the_session_ended_loses_nothing(client, headers, kept):
    answer = client.post("/sign-out", headers=headers)
    assert answer.status_code == 403
    assert kept in answer.text
    assert 'href="/sign-in?next=/" target="_blank"' in answer.text


@pytest.mark.parametrize("token", ["", "guess", "token-of-the-organizeR"])
def test_a_wrong_cookie_opens_nothing(organizer, token):
    give_cookie(organizer, token)
    assert organizer.get("/patterns").status_code == 303


def test_a_session_ends_when_its_time_is_over(app, organizer):
    assert organizer.get("/patterns").status_code == 200
    app.state.clock = lambda: NOW + timedelta(hours=1)
    assert organizer.get("/patterns").status_code == 303


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/days/{code}/pilots/{huge}"),
        ("GET", "/days/{code}/pilots/{huge}/link"),
        ("POST", "/days/{code}/pilots/{huge}"),
        ("POST", "/days/{code}/pilots/{huge}/state"),
        ("POST", "/days/{code}/pilots/{huge}/channel"),
        ("POST", "/days/{code}/pilots/1/aircraft/{huge}/fly"),
        ("GET", "/days/{code}/plan/{huge}"),
        ("GET", "/days/{code}/plan?heat={huge}&pilot={huge}"),
        ("GET", "/days/{code}/check-in?added={huge}"),
        ("GET", "/days/{code}/logbook?before={huge}"),
    ],
)
def test_a_number_too_large_for_the_data_file_is_refused_and_no_fault(director, database, method, path):
    with database.write() as session:
        code = make_day(session).code
    address = path.format(code=code, huge=2**63)
    answer = director.request(method, address, data={"state": "withdrawn"} if method == "POST" else None)
    assert answer.status_code == 422
    assert "cannot be used" in answer.text


@pytest.mark.parametrize(
    ("said", "headers", "address"),
    [
        ({}, {}, "127.0.0.1"),
        ({"public_origins": ("https://field.example",)}, {}, UNKNOWN),
        ({"public_origins": ("https://field.example",)}, {"X-Forwarded-For": "203.0.113.9"}, "127.0.0.1"),
        ({"public_origins": ("https://field.example",), "trusted_proxies": ("10.0.0.2",)}, {}, "127.0.0.1"),
        # Its own certificate: nobody stands in front.
        ({"public_origins": ("https://field.example",), "certificate": Path("own.pem")}, {}, "127.0.0.1"),
    ],
)
def test_a_proxy_that_does_not_say_who_asks_is_not_this_machine(settings, said, headers, address):
    """What is set of a trusted proxy's word is set by the server before; here nobody has."""
    app = FastAPI()
    app.state.settings = replace(settings, **said)
    sent = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
    request = Request({"type": "http", "app": app, "client": ("127.0.0.1", 4711), "headers": sent})
    assert client_address(request) == address


def test_the_planner_is_made_ready_for_the_crew_and_for_nobody_else(app, director, database):
    came = []
    app.state.crew_comes = lambda: came.append("came")
    with database.write() as session:
        make_day(session, code="tern")
    director.get("/board/tern")
    assert came == []
    director.get("/days/tern/check-in")
    assert came == ["came"]
