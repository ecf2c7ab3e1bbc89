import re

import pytest

from server import paths
from server.web import static_files
from server.web.static_files import ASK_FIRST, FOR_GOOD, versioned


def test_pages_ask_for_static_files_by_the_hash_of_their_content(client):
    text = client.get("/sign-in").text
    addresses = re.findall(r'"(/static/[^"]+)"', text)
    assert versioned("css/base.css") in addresses
    assert all(re.search(r"\?v=[0-9a-f]{12}$", address) for address in addresses)


@pytest.mark.parametrize(
    ("address", "kept"),
    [
        (versioned("css/base.css"), FOR_GOOD),
        ("/static/css/base.css?v=000000000000", ASK_FIRST),  # a page from before an upgrade
        ("/static/css/base.css", ASK_FIRST),  # named in a stylesheet
    ],
)
def test_only_the_present_content_is_kept_for_good(client, address, kept):
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == kept


def test_a_file_changed_under_a_running_server_gets_a_new_address(tmp_path, monkeypatch):
    monkeypatch.setattr(paths, "STATIC", tmp_path)
    (tmp_path / "a.css").write_text("a { }")
    before = static_files.versioned("a.css")
    (tmp_path / "a.css").write_text("b { color: black }")
    assert static_files.versioned("a.css") != before


def test_a_file_that_is_not_there_is_not_found(client):
    assert client.get("/static/css/none.css").status_code == 404


@pytest.mark.parametrize(
    "path", ["/static/../pyproject.toml", "/static/%2e%2e/pyproject.toml", "/static//etc/passwd"]
)
def test_nothing_outside_the_folder_is_served(client, path):
    assert client.get(path).status_code == 404
