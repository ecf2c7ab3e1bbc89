import re

import pytest

from server import paths
from server.web import static_files
from server.web.static_files import ASK_FIRST, FOR_GOOD, SHEAVES, versioned


def test_pages_ask_for_static_files_by_the_hash_of_their_content(client):
    text = client.get("/sign-in").text
    addresses = re.findall(r'"(/static/[^"]+)"', text)
    assert versioned("css/frame.css") in addresses
    assert all(re.search(r"\?v=[0-9a-f]{12}$", address) for address in addresses)


@pytest.mark.parametrize(
    ("address", "kept"),
    [
        (versioned("css/base.css"), FOR_GOOD),
        (versioned("css/frame.css"), FOR_GOOD),
        ("/static/css/base.css?v=000000000000", ASK_FIRST),  # a page from before an upgrade
        ("/static/css/frame.css?v=000000000000", ASK_FIRST),
        ("/static/css/base.css", ASK_FIRST),
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


@pytest.mark.parametrize("name", SHEAVES)
def test_a_sheaf_is_its_files_one_after_another(client, name):
    answer = client.get(f"/static/{name}")
    assert answer.status_code == 200
    texts = [re.sub(r'url\(".*?"\)', "", (paths.STATIC / part).read_text()) for part in SHEAVES[name]]
    assert re.sub(r'url\(".*?"\)', "", answer.text) == "\n".join(texts)
    kind = "text/css" if name.endswith(".css") else "text/javascript"
    assert answer.headers["Content-Type"].startswith(kind)


def test_fonts_of_a_sheaf_are_kept_for_good(client):
    fonts = re.findall(r'url\("(/static/fonts/[^"]+)"\)', client.get("/static/css/frame.css").text)
    assert len(fonts) == 8
    assert {client.get(font).headers["Cache-Control"] for font in fonts} == {FOR_GOOD}


def test_a_part_that_changes_gives_its_sheaf_a_new_address(tmp_path, monkeypatch):
    monkeypatch.setattr(paths, "STATIC", tmp_path)
    (tmp_path / "js").mkdir()
    for part in SHEAVES["js/frame.js"]:
        (tmp_path / part).write_text("1;")
    before = static_files.versioned("js/frame.js")
    (tmp_path / SHEAVES["js/frame.js"][0]).write_text("2;")
    assert static_files.versioned("js/frame.js") != before
