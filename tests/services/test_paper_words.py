"""Sentences of typst templates: found for the catalogue, said in the language spoken, none left out."""

from collections.abc import Iterator
from datetime import date
from gettext import NullTranslations
from io import BytesIO

import pytest
from pypdf import PdfReader

from server import wording
from server.services import paper, paper_words
from server.services.typesetting import Document, as_pdf
from tests.brackets import WORD, Brackets, outside
from tests.services.heat_sheet_plans import large_sheet

SHEET = large_sheet(["Wren", "Otter", "Rook"], 2)
DRAWING = "<svg xmlns='http://www.w3.org/2000/svg'/>"
DOCUMENTS = (
    paper.heat_sheet(SHEET, ("heat", "pilot", "channel", "spectrum"), {1: DRAWING}),
    paper.one_page(SHEET),
    paper.pilot_cards_of(SHEET, {}),
    paper.channel_cards(SHEET),
    paper.check_in_form(paper.CheckInForm("Tern Meadow", date(2026, 5, 16), "http://192.0.2.2:8000")),
)


class Shouting(NullTranslations):
    def gettext(self, message: str) -> str:
        return message.upper()

    def ngettext(self, one: str, many: str, number: int) -> str:
        return f"{one if number % 100 == 1 else many}!"


@pytest.fixture
def in_brackets() -> Iterator[None]:
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE), Brackets())
    yield
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


@pytest.fixture
def shouted_in_german() -> Iterator[None]:
    wording.speak(wording.locale_named("de_DE"), Shouting())
    yield
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


def found(source: str) -> list[tuple[int, str, str | tuple[str, str]]]:
    return [message[:3] for message in paper_words.extract(BytesIO(source.encode()), None, None, None)]


def test_sentences_are_found_with_their_lines() -> None:
    assert found('#say("Heat")\n#say(\n  "A \\"b\\" c", x: 1)') == [
        (1, "gettext", "Heat"),
        (2, "gettext", 'A "b" c'),
    ]


def test_both_forms_of_a_plural_are_found() -> None:
    assert found('say-count("%(number)s box", "%(number)s boxes", n)') == [
        (1, "ngettext", ("%(number)s box", "%(number)s boxes"))
    ]


def test_other_text_is_no_sentence() -> None:
    assert found('essay("a") #say(words) text("b") // say') == []


def test_in_english_nothing_is_said_otherwise() -> None:
    spoken = paper_words.spoken()
    assert spoken["words"] == {}
    assert (spoken["lang"], spoken["point"]) == ("en", ".")


@pytest.mark.usefixtures("shouted_in_german")
def test_sentences_and_the_decimal_sign_are_those_of_the_language() -> None:
    spoken = paper_words.spoken()
    assert spoken["words"]["Heat sheet"] == "HEAT SHEET"
    assert (spoken["lang"], spoken["point"]) == ("de", ",")


@pytest.mark.usefixtures("shouted_in_german")
def test_a_plural_has_the_form_of_each_number() -> None:
    plural = paper_words.spoken()["plurals"]["nobody in heat %(heats)s"]
    said = [plural["forms"][form] for form in plural["of"]]
    assert said[1] == said[101] == "nobody in heat %(heats)s!"
    assert said[0] == said[2] == said[199] == "nobody in heats %(heats)s!"
    assert len(said) == 200


def texts(facts: object) -> Iterator[str]:
    """Every text among the facts that a document is given."""
    if isinstance(facts, str):
        yield facts
    elif isinstance(facts, dict | list | tuple):
        for one in facts.values() if isinstance(facts, dict) else facts:
            yield from texts(one)


@pytest.mark.usefixtures("in_brackets")
@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda one: one.template)
def test_every_word_of_a_paper_is_of_the_catalogue_or_among_its_facts(document: Document) -> None:
    given = {"MHz", "mW", "dB", "Otter"}.union(*(WORD.findall(text) for text in texts(document.facts)))
    printed = "\n".join(page.extract_text() for page in PdfReader(BytesIO(as_pdf(document, "a4"))).pages)
    left, depth = outside(printed, 0)
    assert depth == 0
    assert "⟦" in printed
    assert set(WORD.findall(left)) <= given
