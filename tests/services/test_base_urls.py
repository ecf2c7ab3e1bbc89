"""Addresses that phones are sent to."""

import pytest

from server.services import base_urls
from server.services.base_urls import base_urls_of_this_machine, read_base_url


@pytest.mark.parametrize(
    ("text", "base_url"),
    [
        ("http://192.168.8.2:8000", "http://192.168.8.2:8000"),
        ("192.168.8.2:8000", "http://192.168.8.2:8000"),  # as it is typed
        ("HTTP://Field.Local/", "http://field.local"),
        ("https://field.example", "https://field.example"),
        ("http://[fd00::2]:8000", "http://[fd00::2]:8000"),
    ],
)
def test_an_address_is_kept_as_scheme_host_and_port(text, base_url):
    assert read_base_url(text) == base_url


@pytest.mark.parametrize(
    "text",
    [
        "",
        "http://",
        "ftp://192.168.8.2",
        "javascript:alert(1)",
        "http://192.168.8.2:99999",
        "http://[fd00::2",
        "http://a@b",
        "http://192.168.8.2 :8000",
        'http://"><script>',
        "http://a\u202eb",
        "http://" + "a" * 300,
    ],
)
def test_what_is_no_address_says_what_would_be_right(text):
    with pytest.raises(ValueError, match="is not an address for phones: write one such as"):
        read_base_url(text)


@pytest.mark.parametrize("more", ["/board", "?a=1", "#top", "/a/b/"])
def test_an_address_with_more_behind_it_is_refused(more):
    with pytest.raises(ValueError, match="says more than an address"):
        read_base_url(f"http://192.168.8.2:8000{more}")


def test_the_usual_port_is_left_out(monkeypatch):
    monkeypatch.setattr(base_urls, "own_addresses", lambda: ("192.168.8.2", "10.0.0.7"))
    assert base_urls_of_this_machine(80) == ("http://192.168.8.2", "http://10.0.0.7")
    assert base_urls_of_this_machine(8000)[0] == "http://192.168.8.2:8000"
