"""What the layers without a catalogue say reaches translators, and is said in the language spoken."""

import gettext as catalogues
from collections.abc import Iterator
from io import BytesIO

import pytest
from babel.messages import Catalog
from babel.messages.mofile import write_mo

from server import wording
from server.radio.errors import TuningError
from server.radio.rules import RULE_SETS
from server.radio.said import said
from server.radio.site import PRESETS, RECEIVER_PRESETS
from server.radio.tuning import parse_tuning
from server.services import words_below
from server.services.words_below import translated
from server.storage import tables
from server.web.site_pages import INVENTED


@pytest.fixture
def german() -> Iterator[None]:
    catalogue, file = Catalog(locale="de"), BytesIO()
    catalogue.add("“%(word)s” runs backwards", "„%(word)s“ läuft rückwärts")
    catalogue.add("give at most %(power)s mW", "höchstens %(power)s mW")
    catalogue.add("clean", "sauber")
    write_mo(file, catalogue)
    file.seek(0)
    wording.speak(wording.locale_named("de"), catalogues.GNUTranslations(file))
    yield
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


def test_every_state_that_is_shown_is_listed() -> None:
    assert set(tables.PILOT_STATES) == set(words_below.PILOT_STATES)
    assert {*tables.CLEARANCE_REASONS, tables.NOT_KNOWN} == set(words_below.CLEARANCES)
    assert set(tables.CLEARANCE_PLACES) == set(words_below.PLACES)


def test_every_rule_set_that_is_offered_is_listed() -> None:
    offered = {rules.name for key, rules in RULE_SETS.items() if key not in INVENTED}
    assert offered == set(words_below.RULE_SETS)


def test_every_usual_site_and_receiver_is_listed() -> None:
    assert {*PRESETS, *RECEIVER_PRESETS} == set(words_below.SITES)


@pytest.mark.usefixtures("german")
def test_a_fault_of_the_radio_model_is_said_in_the_language_spoken() -> None:
    with pytest.raises(TuningError) as refused:
        parse_tuning("R8-R1")
    assert translated(refused.value.problem) == "„R8-R1“ läuft rückwärts"


@pytest.mark.usefixtures("german")
def test_figures_in_it_follow_the_locale() -> None:
    assert translated(said("give at most %(power)s mW", power=2.5)) == "höchstens 2,5 mW"


@pytest.mark.usefixtures("german")
def test_plain_words_are_looked_up_as_they_are() -> None:
    assert (translated("clean"), translated(said("clean")), translated("Wren")) == (
        "sauber",
        "sauber",
        "Wren",
    )
