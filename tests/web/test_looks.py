"""The look of the pages: chosen on a device, kept there, and linked by media."""

import re
from pathlib import Path

import pytest

from server.web.looks import COOKIE, LOOKS, look_of

SCRIPT = Path(__file__).resolve().parents[2] / "static/js/looks.js"


def media(page: str) -> dict[str, str]:
    return dict(re.findall(r'id="look-(\w+)" media="([^"]+)"', page))


def test_as_long_as_nobody_chose_the_device_decides(client):
    found = media(client.get("/sign-in").text)
    assert found["dark"] == "screen and (prefers-color-scheme: dark)"
    assert found["outdoor"] == "screen and (prefers-contrast: more) and (prefers-color-scheme: light)"


@pytest.mark.parametrize(
    ("look", "dark", "outdoor"),
    [("light", "not all", "not all"), ("dark", "screen", "not all"), ("outdoor", "not all", "screen")],
)
def test_a_look_that_was_chosen_is_there_on_the_next_page(client, look, dark, outdoor):
    answer = client.post("/look", data={"look": look, "back": "/sign-in"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    page = client.get("/sign-in").text
    assert media(page) == {"dark": dark, "outdoor": outdoor}
    assert re.findall(r'value="(\w+)" aria-pressed="true"', page) == [look]


def test_the_device_can_be_given_back_the_choice(client):
    client.post("/look", data={"look": "dark"})
    client.post("/look", data={"look": "device"})
    assert "prefers-color-scheme" in media(client.get("/sign-in").text)["dark"]


def test_a_look_that_is_not_known_is_refused_with_those_that_are(client):
    answer = client.post("/look", data={"look": "neon"})
    assert answer.status_code == 422
    assert "There is no look \u201cneon\u201d. Choose one of: device, light, dark, outdoor." in answer.text
    assert COOKIE not in client.cookies


def test_a_cookie_of_another_version_falls_back_to_the_device():
    assert look_of({COOKIE: "neon"}).key == "device"
    assert all(look_of({COOKIE: key}).key == key for key in LOOKS)


@pytest.mark.parametrize("address", ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere"])
def test_choosing_a_look_leads_nowhere_else(client, address):
    assert client.post("/look", data={"look": "dark", "back": address}).headers["Location"] == "/"


def test_the_script_knows_the_media_of_the_server():
    script = SCRIPT.read_text()
    assert look_of({}).dark in script
    assert look_of({}).outdoor in script
