"""Margins for snapshots and sentences: rounded, signed, with the grade that they stand for."""

import math
from collections.abc import Iterable

from server.radio.grade import grade_word, picture_grade
from server.wording import decimal
from server.wording import gettext as _


def rounded(value: float | None) -> float | None:
    """dB to 0.01, never a negative zero; None where there is none or nothing interferes."""
    return None if value is None or not math.isfinite(value) else round(value, 2) + 0.0


def least(values: Iterable[float | None]) -> float | None:
    """The worst of some margins in dB; None where nobody is interfered with."""
    return min((value for value in values if value is not None), default=None)


def signed_db(value: float) -> str:
    """-0.59 in words: one decimal, a true minus, always with its sign, "+0.0 dB" for nothing."""
    return f"{decimal(value, 1, signed=True)} dB"


def margin_words(margin_db: float | None) -> str:
    """A margin with its picture: "+1.0 dB, 4.6 clean"; None is a pilot alone."""
    if margin_db is None:
        return _("alone, %(grade)s", grade=grade_words(picture_grade(None)))
    return f"{signed_db(margin_db)}, {grade_words(picture_grade(margin_db))}"


def grade_words(grade: float) -> str:
    """A grade with our word for it: "4.6 clean"."""
    return f"{decimal(grade, 1)} {_(grade_word(grade))}"
