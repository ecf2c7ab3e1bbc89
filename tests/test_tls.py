"""`bandstand run` with a certificate: pages, sign-in, live pages and links by https alone."""

import contextlib
import re
import ssl

import httpx
import pytest

from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.factories import make_day, make_pilot
from tests.own_certificates import Authority
from tests.test_serving import address_in, done, phrase_in, running

PATIENCE_S = 30


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def pair(authority):
    return authority.make()


@contextlib.contextmanager
def browser(authority, said, **options):
    """A browser that trusts the authority and nobody else."""
    address = re.search(r"https://localhost:\d+", said)[0]
    context = ssl.create_default_context(cafile=authority.file)
    more = {"base_url": address, "headers": {"Origin": address}, "timeout": PATIENCE_S, **options}
    with httpx.Client(verify=context, **more) as client:
        yield client


@pytest.fixture(scope="module")
def served(authority, pair, tmp_path_factory):
    """What a server with a certificate said at its start, and a browser."""
    folder = tmp_path_factory.mktemp("data")
    with running(folder, "--certificate", pair[0], "--key", pair[1]) as (_, said):
        database = Database(folder / "bandstand.sqlite")
        with database.write() as session:
            make_pilot(session, make_day(session, code="tern"), "Wren", link_token="private-link-of-wren")
        database.close()
        with browser(authority, said) as client:
            yield said, client


@pytest.fixture(scope="module")
def signed_in(served):
    said, client = served
    sent = {"role": "organizer", "pass_phrase": phrase_in(said), "next": "/days"}
    answer = client.post("/sign-in", data=sent)
    assert answer.status_code == 303
    return answer, client


def test_where_it_is_found_is_told_by_https_and_by_its_name(served):
    said, _ = served
    port = re.search(r"https://localhost:(\d+)/", said)[1]
    assert f"By its name:      https://field.example:{port}/" in said
    assert "http://" not in said
    assert "Plain http" not in said


def test_pages_are_served(served):
    answer = served[1].get("/board/tern")
    assert answer.status_code == 200
    assert "Strict-Transport-Security" not in answer.headers


def test_plain_http_on_the_same_port_gets_no_page(served):
    address = str(served[1].base_url).replace("https", "http")
    with pytest.raises(httpx.TransportError):
        httpx.get(address, timeout=PATIENCE_S)


def test_a_browser_that_does_not_know_the_authority_refuses(served):
    with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
        httpx.get(str(served[1].base_url), timeout=PATIENCE_S)


def test_the_cookies_are_kept_to_https(signed_in):
    answer, _ = signed_in
    cookies = answer.headers.get_list("Set-Cookie")
    assert len(cookies) == 2
    assert cookies[0].startswith(f"{COOKIE}=")
    assert all("Secure" in cookie for cookie in cookies)


def test_a_live_page_streams(served):
    with served[1].stream("GET", "/board/tern/stream") as answer:
        lines = answer.iter_lines()
        assert next(line for line in lines if line.startswith("event:")) == "event: state"


def test_links_and_codes_for_phones_name_the_certificate_s_host_by_https(served, signed_in):
    port = signed_in[1].base_url.port
    page = signed_in[1].get("/days/tern/check-in").text
    assert f"https://field.example:{port}/join/tern" in page
    assert "http://field" not in page


def test_the_page_of_people_says_that_nobody_can_listen(signed_in):
    page = signed_in[1].get("/people").text
    assert "This page came by https" in page


def test_a_page_may_be_asked_for_under_the_certificate_s_name(served):
    client = served[1]
    host = f"field.example:{client.base_url.port}"
    assert client.get("/health", headers={"Host": host}).status_code == 200
    assert client.get("/health", headers={"Host": "elsewhere.example"}).status_code == 400


def test_browsers_are_told_to_stay_with_https_where_that_is_wished(authority, pair, tmp_path):
    options = ("--certificate", pair[0], "--key", pair[1])
    with (
        running(tmp_path, *options, BANDSTAND_HSTS_DAYS="30") as (_, said),
        browser(authority, said) as client,
    ):
        assert client.get("/health").headers["Strict-Transport-Security"] == "max-age=2592000"


def test_several_processes_speak_https_too(authority, pair, tmp_path, postgresql):
    with postgresql.database() as address:
        options = ("--certificate", pair[0], "--key", pair[1], "--workers", 2)
        with running(tmp_path, *options, BANDSTAND_DATABASE=address) as (process, said):
            for _ in range(6):
                with browser(authority, said) as client:
                    host = f"field.example:{client.base_url.port}"
                    assert client.get("/health", headers={"Host": host}).status_code == 200
            process.terminate()  # and with it those that it started
            process.wait(PATIENCE_S)


def test_a_certificate_that_expired_is_served_with_a_warning(authority, tmp_path):
    certificate, key = authority.make("expired", days=-1)
    with running(tmp_path, "--certificate", certificate, "--key", key) as (_, said):
        assert re.search(
            r"^The certificate expired on \d{4}-\d\d-\d\d: browsers warn everybody\.", said, re.M
        )


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--certificate", "missing.pem"), "There is no file"),
        (("--key", "key.pem"), "is set, but no certificate: name its file with --certificate."),
    ],
)
def test_what_cannot_be_used_is_told_and_nothing_is_started(tmp_path, options, words):
    ended = done("run", "--data", tmp_path / "data", "--port", 0, *options)
    assert ended.returncode == 2
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr
    assert not (tmp_path / "data").exists()


def test_plain_http_says_at_its_start_what_it_means(tmp_path):
    with running(tmp_path) as (_, said):
        assert "Plain http: who is on the same network can read what is sent, pass phrases" in said
    with running(tmp_path, "--host", "127.0.0.1") as (_, said):
        assert "Plain http" not in said


class TestBehindAProxy:
    """A proxy that speaks https to browsers says so in headers; only one that is trusted is believed."""

    @pytest.fixture(
        params=[("127.0.0.1", True), ("10.9.8.7", False), ("", False)], ids=["trusted", "other", "none"]
    )
    def answer(self, request, tmp_path):
        proxies, is_trusted = request.param
        with running(tmp_path, BANDSTAND_TRUSTED_PROXIES=proxies) as (_, said):
            address = address_in(said)
            origin = address.replace("http", "https") if is_trusted else address
            headers = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "203.0.113.9", "Origin": origin}
            sent = {"role": "organizer", "pass_phrase": phrase_in(said), "next": "/days"}
            answer = httpx.post(f"{address}/sign-in", data=sent, headers=headers, timeout=PATIENCE_S)
            assert answer.status_code == 303
            cookie = f"{COOKIE}={answer.cookies[COOKIE]}"  # a client would not send a secure one by http
            sent = {**headers, "Cookie": cookie}
            people = httpx.get(f"{address}/people", headers=sent, timeout=PATIENCE_S)
            yield is_trusted, answer, people.text

    def test_its_word_on_https_and_on_who_asks_is_taken_if_it_is_trusted(self, answer):
        is_trusted, signed_in, people = answer
        assert ("Secure" in signed_in.headers["Set-Cookie"]) == is_trusted
        came_from = "this network" if is_trusted else "this machine"
        assert re.search(rf"<td[^>]*>{came_from}</td>", people)
        assert ("This page came by https" in people) == is_trusted
