"""Guards over all templates, and what the macros promise."""

import re
from collections import Counter
from pathlib import Path

import pytest
from jinja2 import Environment

from server.web.routes.patterns import PatternsPage
from server.web.static_files import content_of
from server.web.templating import make_templates

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "templates"
TEMPLATES = sorted(FOLDER.rglob("*.html"))
MACROS = sorted((FOLDER / "macros").glob("*.html"))
PAGES = [t for t in TEMPLATES if "{% extends" in t.read_text() and not t.name.startswith("_")]
WORDS = (
    "STAY OFF",
    "READY",
    "POWER UP",
    "FLY",
    "LAND",
    "DISARM THEN POWER OFF",
    "DOWN, STILL ON",
    "ASK THE DIRECTOR",
)


def name_of(path: Path) -> str:
    return path.relative_to(FOLDER).as_posix()


@pytest.fixture(scope="module")
def environment() -> Environment:
    return make_templates().env


@pytest.fixture(scope="module")
def patterns(environment) -> str:
    return environment.get_template("patterns.html").render(**vars(PatternsPage()))


def figures(environment):
    return environment.get_template("macros/figures.html").module


def forms(environment):
    return environment.get_template("macros/forms.html").module


@pytest.mark.parametrize("path", TEMPLATES, ids=name_of)
def test_template_parses(path, environment):
    environment.parse(path.read_text())


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_page_has_a_title(path):
    title = re.search(r"{% block title %}(.*?){% endblock", path.read_text(), re.S)
    assert title
    assert title[1].strip()


@pytest.mark.parametrize("path", [t for t in TEMPLATES if t.name == "page.html"], ids=name_of)
def test_page_stands_in_a_frame(path):
    assert re.search(r'{% extends "(base|public_base)\.html" %}', path.read_text())


@pytest.mark.parametrize("path", TEMPLATES, ids=name_of)
def test_nothing_inline_that_the_security_policy_refuses(path):
    text = re.sub(r"{#.*?#}", "", path.read_text(), flags=re.S)
    assert not re.search(r"\sstyle\s*=|<style\b|\son[a-z]+\s*=\s*[\"']|hx-on|javascript:|hx-vals=.js:", text)
    assert all("src=" in tag for tag in re.findall(r"<script\b[^>]*>", text))


@pytest.mark.parametrize("path", TEMPLATES, ids=name_of)
def test_template_asks_nothing_from_elsewhere(path):
    assert not re.search(r"(?:src|href|action)\s*=\s*[\"'](?:https?:)?//", path.read_text())


@pytest.mark.parametrize("path", TEMPLATES, ids=name_of)
def test_static_files_and_sheaves_named_in_it_exist(path):
    for name in re.findall(r"[\"']/static/([\w./-]+)[\"']", path.read_text()):
        assert content_of(name), name


@pytest.mark.parametrize("path", MACROS, ids=name_of)
def test_head_of_a_macro_file_tells_each_macro(path):
    text = path.read_text()
    head = text[: text.index("#}")]
    for macro in re.findall(r"{% macro ([a-z]\w*)\(", text):
        assert re.search(rf"^  {macro}\(", head, re.M), macro


@pytest.mark.parametrize("path", MACROS, ids=name_of)
def test_patterns_page_shows_each_macro_file(path):
    assert f"macros/{path.name}" in (FOLDER / "patterns.html").read_text()


def test_patterns_page_shows_each_word_for_a_transmitter(patterns):
    assert all(f"<span>{word}</span>" in patterns for word in WORDS)


def test_patterns_page_has_one_head_and_one_primary_button(patterns):
    assert patterns.count("<h1>") == 1
    assert patterns.count("button--primary") == 1


def test_no_identifier_twice_and_every_label_has_its_field(patterns):
    identifiers = Counter(re.findall(r'\sid="([^"]+)"', patterns))
    assert not [one for one, count in identifiers.items() if count > 1]
    assert set(re.findall(r'<label for="([^"]+)"', patterns)) <= set(identifiers)


def test_a_word_outside_the_eight_is_refused(environment):
    with pytest.raises(Exception, match="GO"):
        figures(environment).plate("GO")


def test_the_eight_words_have_eight_shapes(environment):
    shapes = {re.search(r"<svg.*?</svg>", str(figures(environment).plate(word)), re.S)[0] for word in WORDS}
    assert len(shapes) == len(WORDS)


def test_channel_always_carries_its_mhz(environment):
    shown = str(figures(environment).channel("R1", 5658))
    assert "R1" in shown
    assert "5658" in shown
    assert "MHz" in shown


def test_channel_without_a_letter_shows_mhz_alone(environment):
    assert "channel__label" not in figures(environment).channel(None, 5800)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (1.04, "+1.0 dB"),
        (-0.59, "\N{MINUS SIGN}0.6 dB"),  # a true minus, as wide as the plus
        (-0.04, "+0.0 dB"),  # never minus nothing
        (None, "alone"),  # a pilot alone has no margin
    ],
)
def test_margin_in_words(environment, value, words):
    shown = str(figures(environment).db(value)).replace("\N{NO-BREAK SPACE}", " ")
    assert f">{words}<" in shown


def test_grade_bar_is_as_long_as_the_grade(environment):
    assert 'width="57.0"' in figures(environment).grade(3.8, "specks")  # 15 a step


def test_typed_text_and_error_come_back_escaped(environment):
    shown = str(forms(environment).field("callsign", "Callsign", '"><b>', "Use 1 to 24 characters."))
    assert 'value="&#34;&gt;&lt;b&gt;"' in shown
    assert 'aria-invalid="true" autofocus aria-describedby="callsign-error "' in shown
    assert '<p class="field__error" id="callsign-error">Use 1 to 24 characters.</p>' in shown


def test_zero_is_a_value_and_nothing_is_not(environment):
    assert 'value="0"' in forms(environment).field("gain", "Gain", 0)
    assert 'value=""' in forms(environment).field("gain", "Gain", None)


def test_current_tab_is_marked(environment):
    page = environment.from_string('{% extends "base.html" %}{% block title %}Plan{% endblock %}')
    shown = page.render(day={"name": "Tern Meadow", "code": "abcd"}, tab="plan", may=lambda least: True)
    assert (
        '<a href="/days/abcd/plan" aria-current="page"><span class="tabs__words">Channel plan</span>' in shown
    )
    assert shown.count("aria-current") == 1
