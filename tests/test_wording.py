"""Words and figures in the language spoken. Source of other habits: Unicode CLDR, as the Babel library has it."""

import gettext as catalogues
from collections.abc import Iterator
from datetime import date, datetime
from io import BytesIO

import pytest
from babel.messages import Catalog
from babel.messages.mofile import write_mo

from server import wording


@pytest.fixture
def german() -> Iterator[None]:
    catalogue, file = Catalog(locale="de"), BytesIO()
    catalogue.add("Heat %(number)s is up", "Durchgang %(number)s ist dran")
    catalogue.add(("%(number)s pilot", "%(number)s pilots"), ("%(number)s Pilot", "%(number)s Piloten"))
    write_mo(file, catalogue)
    file.seek(0)
    wording.speak(wording.locale_named("de-CH"), catalogues.GNUTranslations(file))
    yield
    wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


def test_without_a_catalogue_the_words_stay_english() -> None:
    assert wording.gettext("Heat %(number)s is up", number=4) == "Heat 4 is up"
    assert wording.ngettext("%(number)s pilot", "%(number)s pilots", 1) == "1 pilot"
    assert wording.ngettext("%(number)s pilot", "%(number)s pilots", 0) == "0 pilots"


def test_a_per_cent_sign_stays_where_nothing_is_filled_in() -> None:
    assert wording.gettext("50 % of it") == "50 % of it"


@pytest.mark.usefixtures("german")
def test_a_catalogue_translates_and_picks_the_plural() -> None:
    assert wording.gettext("Heat %(number)s is up", number=4) == "Durchgang 4 ist dran"
    assert wording.ngettext("%(number)s pilot", "%(number)s pilots", 2) == "2 Piloten"
    assert wording.gettext("not in the catalogue") == "not in the catalogue"


@pytest.mark.usefixtures("german")
def test_nothing_stays_nothing() -> None:
    assert wording.gettext("") == ""


@pytest.mark.usefixtures("german")
def test_the_language_tag_is_that_of_html() -> None:
    assert wording.language_tag() == "de-CH"


@pytest.mark.parametrize(
    ("value", "places", "signed", "text"),
    [
        (-0.59, 1, False, "\N{MINUS SIGN}0.6"),
        (-0.04, 1, True, "+0.0"),
        (0.0, 0, False, "0"),
        (3.25, 2, True, "+3.25"),
        (12345.678, 1, False, "12345.7"),
    ],
)
def test_decimals_have_a_true_minus_and_no_negative_zero(
    value: float, places: int, signed: bool, text: str
) -> None:
    assert wording.decimal(value, places, signed) == text


def test_figures_and_dates_follow_the_locale() -> None:
    wording.speak(wording.locale_named("de_DE"))
    try:
        assert wording.decimal(-0.59, 1) == "\N{MINUS SIGN}0,6"
        assert wording.short_decimal(2.5) == "2,5"
        assert wording.long_date(date(2026, 5, 16)) == "Samstag, 16. Mai 2026"
    finally:
        wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))
    assert wording.long_date(date(2026, 5, 16)) == "Saturday, 16 May 2026"
    assert wording.short_date(date(2026, 5, 16)) == "16 May 2026"
    assert wording.date_without_weekday(date(2026, 9, 16)) == "16 September 2026"
    assert wording.short_decimal(25.0) == "25"


@pytest.mark.usefixtures("german")
def test_names_are_listed_as_the_language_does() -> None:
    assert wording.listed(["Wren"]) == "Wren"
    assert wording.listed(name for name in ("Wren", "Otter", "Rook")) == "Wren, Otter und Rook"


def test_a_figure_to_be_typed_has_the_minus_of_a_keyboard() -> None:
    assert wording.typed_decimal(-48.5) == "-48.5"


def test_the_hour_is_of_twenty_four_everywhere() -> None:
    wording.speak(wording.locale_named("en_US"))
    try:
        assert wording.time_of_day(datetime(2026, 5, 16, 14, 5, 9)) == "14:05"
        assert wording.time_of_day(datetime(2026, 5, 16, 14, 5, 9), with_seconds=True) == "14:05:09"
    finally:
        wording.speak(wording.locale_named(wording.DEFAULT_LOCALE))


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("2,5", "2.5"),
        ("\N{MINUS SIGN}2.5", "-2.5"),
        ("1,000.5", "1,000.5"),
        ("1,2,3", "1,2,3"),
        ("five", "five"),
    ],
)
def test_a_decimal_comma_and_a_point_are_both_understood(typed: str, plain: str) -> None:
    assert wording.plain_decimal(typed) == plain


def test_a_locale_that_nobody_has_is_refused() -> None:
    with pytest.raises(ValueError, match="xx_YY"):
        wording.locale_named("xx_YY")
