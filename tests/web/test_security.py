import httpx
import pytest
from starlette.datastructures import Headers
from starlette.testclient import TestClient

from server.main import create_app
from server.settings import Settings
from server.web.security import CONTENT_SECURITY_POLICY, Policy, is_from_here, is_known_host
from tests.serving import serving
from tests.web.conftest import ADDRESS


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "localhost:8000",
        "127.0.0.1:8000",
        "[::1]:8000",
        "192.168.8.2:8000",  # a field router
        "172.20.10.2",  # a phone's hotspot
        "10.0.0.7",
        "169.254.3.4",  # a cable between two laptops
        "100.64.0.9",  # a carrier's own range
        "[fe80::1]",
        "field.local:8000",
        "FIELD.LOCAL",
        "field.example",  # configured
    ],
)
def test_answers_under(host):
    assert is_known_host(host, frozenset({"field.example"}))


@pytest.mark.parametrize(
    "host",
    [
        "",
        "evil.example",
        "field.example.evil.example",
        "local",
        "localhost.evil.example",
        "192.168.8.2.evil.example",
        "8.8.8.8",
        "[2001:4860:4860::8888]",
        "field.local@evil.example",
        "[",
    ],
)
def test_does_not_answer_under(host):
    assert not is_known_host(host, frozenset({"field.example"}))


def test_a_strange_host_gets_a_page_that_says_what_to_do(client):
    answer = client.get("/health", headers={"Host": "evil.example"})
    assert answer.status_code == 400
    assert "BANDSTAND_ALLOWED_HOSTS" in answer.text


@pytest.mark.parametrize(
    ("headers", "is_ours"),
    [
        ({"sec-fetch-site": "same-origin"}, True),  # a secure context: localhost or https
        ({"sec-fetch-site": "same-origin", "origin": "null"}, True),
        ({"sec-fetch-site": "cross-site", "origin": "http://field.local"}, False),
        ({"sec-fetch-site": "same-site"}, False),
        ({"sec-fetch-site": "none"}, False),
        ({"origin": "http://field.local"}, True),  # plain http: no Sec-Fetch headers are sent
        ({"origin": "HTTP://Field.local"}, True),
        ({"origin": "https://field.local"}, False),
        ({"origin": "http://field.local:81"}, False),
        ({"origin": "http://evil.example"}, False),
        ({"origin": "https://field.example"}, True),  # configured: a proxy stands in front
        ({"origin": "null"}, False),
        ({}, False),
    ],
)
def test_a_post_comes_from_a_page_of_ours(headers, is_ours):
    origins = frozenset({"https://field.example"})
    assert is_from_here(Headers({"host": "field.local", **headers}), "http", origins) is is_ours


def test_an_origin_never_passes_as_null_even_if_configured_empty():
    assert not is_from_here(Headers({"host": "field.local"}), "http", Policy.of([], [], 1).public_origins)


@pytest.mark.parametrize("origin", ["http://evil.example", "null"])
def test_a_post_from_elsewhere_is_refused_though_signed_in(organizer, origin):
    answer = organizer.post("/sign-out", headers={"Origin": origin})
    assert answer.status_code == 403
    assert "another site" in answer.text
    assert organizer.get("/patterns").status_code == 200


def test_every_answer_carries_the_security_headers(app, client):
    @app.get("/boom")
    def boom():
        raise ZeroDivisionError

    client.cookies.clear()
    answers = [
        client.get("/sign-in"),
        client.get("/nowhere"),
        client.get("/patterns"),  # to the sign-in
        client.get("/static/css/base.css"),
        client.get("/health", headers={"Host": "evil.example"}),
        client.post("/sign-in", headers={"Origin": "null"}),
        client.post("/sign-in", content=b"x" * 5_000_000),
    ]
    assert [answer.status_code for answer in answers] == [200, 404, 303, 200, 400, 403, 413]
    for answer in answers:
        assert answer.headers["Content-Security-Policy"] == CONTENT_SECURITY_POLICY
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert "Cache-Control" in answer.headers


def test_nothing_inline_and_nothing_from_elsewhere_may_run():
    assert "unsafe" not in CONTENT_SECURITY_POLICY
    assert CONTENT_SECURITY_POLICY.startswith("default-src 'none'")


def test_a_body_that_declares_too_much_is_refused_unread(client):
    answer = client.post("/sign-in", content=b"x", headers={"Content-Length": "99999999999"})
    assert answer.status_code == 413
    assert "4096 KiB" in answer.text


def test_a_body_that_declares_nothing_is_counted(settings, database):
    small = Settings(data=settings.data, body_limit_kib=1)
    with serving(create_app(small)) as address:
        pieces = (b"pass_phrase=" + b"x" * 200 for _ in range(20))
        form = {"Content-Type": "application/x-www-form-urlencoded", "Origin": address}
        answer = httpx.post(f"{address}/sign-in", content=pieces, headers=form)
    assert answer.status_code == 413
    assert "1 KiB" in answer.text


def test_a_configured_origin_may_post_and_its_host_is_known(settings):
    hosted = Settings(data=settings.data, public_origins=("https://field.example/",))
    with TestClient(create_app(hosted), "http://field.example", follow_redirects=False) as client:
        answer = client.post("/sign-in", data={}, headers={"Origin": "https://field.example"})
    assert answer.status_code == 422


def test_a_proxy_free_server_knows_only_its_own_origin(client):
    assert client.post("/sign-in", data={}, headers={"Origin": ADDRESS}).status_code == 422
    assert client.post("/sign-in", data={}, headers={"Origin": "http://localhost"}).status_code == 403
