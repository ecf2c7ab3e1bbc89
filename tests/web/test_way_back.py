"""Pages that are read in between lead back to where one came from."""

import re

import pytest

from tests.web.conftest import ADDRESS


def back(client, path, referer):
    headers = {"Referer": referer} if referer else {}
    return re.search(
        r'class="guide__back"><a href="([^"]*)">(\w+)<', client.get(path, headers=headers).text
    ).groups()


@pytest.mark.parametrize("path", ["/guide", "/privacy"])
@pytest.mark.parametrize(
    ("referer", "leads_to"),
    [
        (f"{ADDRESS}/slot/private-link", ("/slot/private-link", "Back")),
        (f"{ADDRESS}/days/tern/plan?heat=2", ("/days/tern/plan?heat=2", "Back")),
        ("", ("/", "Board")),
        ("http://elsewhere.example/days", ("/", "Board")),
        ("http://[half", ("/", "Board")),
        (f"{ADDRESS}//elsewhere.example", ("/", "Board")),
        (f"{ADDRESS}/privacy", ("/", "Board")),
    ],
)
def test_it_leads_to_the_page_of_ours_that_led_here(client, path, referer, leads_to):
    assert back(client, path, referer) == leads_to


@pytest.mark.parametrize(
    ("answered", "page"),
    [
        ("/days/tern/line/hours", "/days/tern/line"),
        ("/days/tern/line/hours?seen=3", "/days/tern/line"),
        ("/days/tern/pilots/7/state", "/days/tern/pilots/7"),
        ("/nowhere", "/"),
    ],
)
def test_from_the_answer_to_a_press_it_leads_to_the_page_above(client, answered, page):
    assert back(client, "/guide", ADDRESS + answered)[0] == page


def test_what_is_stored_leads_back_to_the_guide_and_the_guide_not_back_to_it(client):
    assert back(client, "/privacy", f"{ADDRESS}/guide") == ("/guide", "Back")
    assert back(client, "/guide", f"{ADDRESS}/guide") == ("/", "Board")
