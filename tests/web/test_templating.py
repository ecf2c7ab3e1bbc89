import re
from dataclasses import fields
from datetime import UTC, date, datetime

import pytest
from jinja2 import UndefinedError, meta
from starlette.requests import Request

from server.web import pages, templating
from server.web.templating import Page, make_templates

NBSP = "\N{NO-BREAK SPACE}"
ALL_PAGES = [
    cls for cls in vars(pages).values() if isinstance(cls, type) and issubclass(cls, Page) and cls is not Page
]
GIVEN_TO_ALL = {"request", "_trans"}  # the latter is what trans blocks call a number to decide by
# The frames ask "is defined" for these, so that a page without a day or a tab can do without.
OPTIONAL_IN_FRAMES = {"current", "day", "tab", "live"}


@pytest.fixture(scope="module")
def environment():
    return make_templates().env


@pytest.mark.parametrize(
    ("source", "shown"),
    [
        ("{{ 5658 | mhz }}", f"5658{NBSP}MHz"),
        ("{{ 25.0 | mw }}", f"25{NBSP}mW"),
        ("{{ 12.5 | mw }}", f"12.5{NBSP}mW"),
        ("{{ 1.04 | db }}", f"+1.0{NBSP}dB"),
        ("{{ -0.59 | db }}", f"\N{MINUS SIGN}0.6{NBSP}dB"),
        ("{{ -0.04 | db }}", f"+0.0{NBSP}dB"),
        ("{{ at | clock('Europe/Dublin') }}", "10:05"),  # summer time
        ("{{ at | clock('Asia/Kolkata', with_seconds=True) }}", "14:35:09"),
        ("{{ at | day_and_clock('Pacific/Auckland') }}", "16 May 21:05:09"),
        ("{{ day | long_date }}", "Saturday, 16 May 2026"),
    ],
)
def test_filter(environment, source, shown):
    at = datetime(2026, 5, 16, 9, 5, 9, tzinfo=UTC)
    assert environment.from_string(source).render(at=at, day=date(2026, 5, 16)) == shown


def test_a_name_that_no_page_declares_is_a_fault(environment):
    for source in ("{{ nobody }}", "{% if nobody %}{% endif %}", "{% for one in nobody %}{% endfor %}"):
        with pytest.raises(UndefinedError):
            environment.from_string(source).render()


def test_a_missing_key_of_a_declared_name_is_empty(environment):
    source = "[{{ faults.tunes }}{% if faults.tunes %}x{% endif %}{% for one in faults.tunes %}y{% endfor %}]"
    assert environment.from_string(source).render(faults={}) == "[]"


def test_markup_in_a_value_is_text(environment):
    assert environment.from_string("{{ name }}").render(name="<b>") == "&lt;b&gt;"


def names_used(environment, template):
    """Names that a template and the frames and fragments it refers to take from the page."""
    source = environment.loader.get_source(environment, template)[0]
    tree = environment.parse(source)
    used = meta.find_undeclared_variables(tree)
    for other in meta.find_referenced_templates(tree):
        if other and not other.startswith("macros/"):
            used |= names_used(environment, other)
    made_in_it = re.findall(r"{%-? (?:import \S+ as|set) (\w+)", source)
    return used - set(made_in_it) - GIVEN_TO_ALL


# Not called `page`: that name belongs to the browser tests.
@pytest.mark.parametrize("page_class", ALL_PAGES, ids=lambda page_class: page_class.__name__)
def test_a_page_declares_what_its_template_uses_and_nothing_else(environment, page_class):
    declared = {field.name for field in fields(page_class)}
    used = names_used(environment, page_class.template)
    assert used - OPTIONAL_IN_FRAMES <= declared <= used


@pytest.mark.parametrize(
    ("headers", "is_fragment"),
    [
        ({"HX-Request": "true", "HX-Request-Type": "partial"}, True),
        ({"HX-Request": "true", "HX-Request-Type": "full"}, False),
        ({}, False),
    ],
)
def test_htmx_is_told_from_a_plain_post(headers, is_fragment):
    raw = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
    assert templating.is_fragment(Request({"type": "http", "headers": raw})) is is_fragment
