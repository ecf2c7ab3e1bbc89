"""What translators get: every sentence of the sources, each in a form that can be filled in."""

import re

import pytest
from babel.messages import Catalog
from babel.messages.checkers import python_format
from babel.messages.pofile import read_po

from tests.catalogue import LIST, write_list

PLACE = re.compile(r"%\((\w+)\)s")
OTHER_FORMAT = re.compile(r"%\((?!\w+\)s)|%[^(%]")


@pytest.fixture(scope="module")
def listed() -> Catalog:
    with LIST.open("rb") as file:
        return read_po(file)


def forms(message) -> tuple[str, ...]:
    return message.id if isinstance(message.id, tuple) else (message.id,)


def test_the_list_is_what_the_sources_say_now(tmp_path) -> None:
    write_list(tmp_path / "now.pot")
    now = (tmp_path / "now.pot").read_text("utf-8")
    assert now == LIST.read_text("utf-8"), "write it anew: python3 -m server dev tests.catalogue"


def test_the_list_holds_sentences_of_every_source(listed: Catalog) -> None:
    wanted = {
        "Skip to the page",  # a page
        "Stay off until your heat is called.",  # a paper
        "May be out of date since %(time)s (%(age)s)",  # a script, by way of its page
        "specks",  # the radio model
        "STAY OFF",  # a constant
    }
    assert wanted <= {form for message in listed for form in forms(message)}


def test_every_place_to_fill_in_has_a_name(listed: Catalog) -> None:
    with_places = [form for message in listed for form in forms(message) if PLACE.search(form)]
    assert [form for form in with_places if OTHER_FORMAT.search(form.replace("%%", ""))] == []
    for form in with_places:
        assert form % dict.fromkeys(PLACE.findall(form), "x")


def test_a_singular_fills_in_nothing_that_its_plural_has_not(listed: Catalog) -> None:
    for message in listed:
        one, *many = (set(PLACE.findall(form)) for form in forms(message))
        assert all(one <= other | {"number"} for other in many), message.id


def test_a_translation_that_keeps_its_places_passes_the_check_of_translations(listed: Catalog) -> None:
    for message in listed:
        message.string = message.id
        python_format(listed, message)
