"""From a margin in dB to what a person sees: the impairment grade, and our word for it."""

import math

from server.radio.said import said

PLAN_DEVIATION_MHZ = 15.6
"""Peak-to-peak deviation that the protection template was written for (24 MHz by Carson, 4.2 MHz video)."""

REFERENCE_RATIO_DB = 28.0
LOWEST_FLYABLE_GRADE = 2.5
_WORDS = ((4.5, said("clean")), (3.5, said("specks")), (LOWEST_FLYABLE_GRADE, said("lines")))
_WORST = said("do not fly")


def picture_grade(margin_db: float | None) -> float:
    """Impairment grade 1.0 ... 5.0, to one decimal, at a margin in dB; None (nobody else up) is 5.0.

    Solves 12.5 - 20 log10(Dv/12) - Q + 1.1 Q^2 = 28 + M for Q.
    Source: CCIR Report 634 co-channel formula, from memory; scale of ITU-R BT.500.
    """
    if margin_db is None:
        return 5.0
    constant = _at_zero_db() - margin_db
    discriminant = 1.0 - 4.4 * constant
    if discriminant <= 0.0:
        return 1.0
    grade = (1.0 + math.sqrt(discriminant)) / 2.2
    return round(min(5.0, max(1.0, grade)), 1)


def word_margins_db() -> tuple[tuple[str, float], ...]:
    """The lowest margin in dB at which a picture is still clean, specks and lines, as its grade is rounded."""
    shown_from = ((word, least - 0.05) for least, word in _WORDS)
    return tuple((word, _at_zero_db() - grade + 1.1 * grade**2) for word, grade in shown_from)


def _at_zero_db() -> float:
    """What the formula leaves in dB where neither margin nor grade has a part in it."""
    return 12.5 - 20.0 * math.log10(PLAN_DEVIATION_MHZ / 12.0) - REFERENCE_RATIO_DB


def grade_word(grade: float) -> str:
    """Our word for a grade: clean, specks, lines, do not fly."""
    return next((word for least, word in _WORDS if grade >= least), _WORST)


def is_flyable(margin_db: float | None) -> bool:
    """Whether a margin in dB gives at least the lowest grade that one may fly with."""
    return picture_grade(margin_db) >= LOWEST_FLYABLE_GRADE
