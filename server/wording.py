"""The words and figures that people read, in the language this server speaks: the one door to the catalogues.

Every sentence for people is written in English where it is used, as `_("Heat %(number)s is up", number=4)`. It is
looked up in `server/locale/<language>/LC_MESSAGES/bandstand.po`; where no catalogue has it, it stays English.
`server/locale/bandstand.pot` lists them all for translators. A sentence is whole: parts glued together cannot
be put into another order by a language that needs one.

One server speaks one language, chosen when it starts: everybody at a field reads the same board, the same paper
and the same words in the logbook, and what is pushed to a hundred phones is written once.
"""

import gettext as catalogues
from collections.abc import Iterable
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.lists import format_list
from babel.numbers import format_decimal, get_decimal_symbol

DOMAIN = "bandstand"
CATALOGUES = Path(__file__).parent / "locale"
DEFAULT_LOCALE = "en_GB"
MINUS = "\N{MINUS SIGN}"
Message = TypeVar("Message", bound=str)


class _Spoken:
    """What this process speaks; `speak` sets it."""

    locale = Locale.parse(DEFAULT_LOCALE)
    catalogue = catalogues.NullTranslations()


def locale_named(name: str) -> Locale:
    """de_CH or de-CH → the locale. Raises ValueError if the Unicode locale data do not know it."""
    try:
        return Locale.parse(name.replace("-", "_"))
    except UnknownLocaleError as error:
        raise ValueError(str(error)) from error


def speak(locale: Locale, catalogue: catalogues.NullTranslations | None = None) -> None:
    """From now on words come from the catalogue of this locale (or the one given), figures follow its habits."""
    _Spoken.locale = locale
    _Spoken.catalogue = catalogue or catalogues.translation(
        DOMAIN, CATALOGUES, [str(locale), locale.language], fallback=True
    )


def language_tag() -> str:
    """en-GB, as HTML's `lang` wants it."""
    return str(_Spoken.locale).replace("_", "-")


def language() -> str:
    """en, without what a country makes of it."""
    tag: str = _Spoken.locale.language
    return tag


def gettext(message: str, /, **values: Any) -> str:
    """The message in the language spoken, its `%(name)s` filled in. A lone per cent sign is written `%%`
    if there are values to fill in, and `%` if there are none."""
    # A catalogue keeps its own head under the empty message.
    said: str = _Spoken.catalogue.gettext(message) if message else ""
    return said % values if values else said


def ngettext(one: str, many: str, number: int, /, **values: Any) -> str:
    """The form of the message that the language wants for this number, which is also `%(number)s`."""
    return plural_form(one, many, number) % {"number": number, **values}


def plural_form(one: str, many: str, number: int) -> str:
    """The same with nothing filled in, for templates, which escape what they fill in."""
    said: str = _Spoken.catalogue.ngettext(one, many, number)
    return said


def marked(message: Message) -> Message:
    """Marks a constant for the catalogue where it is defined; `gettext` translates it where it is shown."""
    return message


def decimal(value: float, places: int, signed: bool = False) -> str:
    """-0.59 → "-0.6", the minus a true one and never a negative zero; `signed` puts a plus before 0 and above."""
    pattern = "0" + ("." + "0" * places if places else "")
    text = _formatted(round(value, places) + 0.0, pattern, _Spoken.locale)
    return f"+{text}" if signed and not text.startswith(MINUS) else text


def decimal_sign() -> str:
    """What stands before the tenths: a point, or a comma."""
    return get_decimal_symbol(_Spoken.locale)


def short_decimal(value: float) -> str:
    """25.0 → "25", 2.5 → "2.5": no more places than the figure has, at most six, no grouping."""
    return _formatted(value, "0.######", _Spoken.locale)


# A page of a crowded day says a thousand figures, most of them as the page before did.
@lru_cache(maxsize=4096)
def _formatted(value: float, pattern: str, locale: Locale) -> str:
    return format_decimal(value, pattern, locale=locale).replace("-", MINUS)


def typed_decimal(value: float) -> str:
    """The same with the minus of a keyboard, where it says what would be right to type."""
    return short_decimal(value).replace(MINUS, "-")


def plain_decimal(typed: str) -> str:
    """A figure as somebody typed it, as `float` reads it: decimal comma and point, true minus and hyphen are all
    understood, whatever the locale. Text with several of them is no figure and keeps them."""
    text = typed.replace(MINUS, "-")
    return text.replace(",", ".") if text.count(",") == 1 and "." not in text else text


def listed(names: Iterable[str]) -> str:
    """Wren, Otter, Rook → "Wren, Otter and Rook", as the locale lists what stands together."""
    return format_list(list(names), locale=_Spoken.locale)


def long_date(day: date) -> str:
    """2026-05-16 → "Saturday 16 May 2026", in the order of the locale."""
    return format_date(day, "full", locale=_Spoken.locale)


def date_without_weekday(day: date) -> str:
    """2026-09-16 → "16 September 2026"."""
    return format_date(day, "long", locale=_Spoken.locale)


def short_date(day: date) -> str:
    """2026-05-16 → "16 May 2026"."""
    return format_date(day, "medium", locale=_Spoken.locale)


def day_and_month(day: date, with_weekday: bool = False) -> str:
    """2026-05-16 → "16 May" or "Sat 16 May", without the year."""
    return format_skeleton("MMMEd" if with_weekday else "MMMd", day, locale=_Spoken.locale)


def time_of_day(at: datetime, with_seconds: bool = False) -> str:
    """14:05 or 14:05:09 of a moment already in the field's time zone; 24 hours everywhere, as radio logs
    are kept, so that no call is read as twelve hours early."""
    return format_time(at, "HH:mm:ss" if with_seconds else "HH:mm", locale=_Spoken.locale)
