import math

import pytest

from server.radio.grade import LOWEST_FLYABLE_GRADE, grade_word, is_flyable, picture_grade, word_margins_db
from tests.radio import slow_model


@pytest.mark.parametrize(
    ("margin_db", "grade"),
    [(0, 4.5), (-6, 3.8), (-10, 3.2), (-15, 2.1), (5, 5.0), (4, 4.9), (-18, 1.0), (60, 5.0), (-60, 1.0)],
)
def test_margin_gives_grade(margin_db, grade):
    assert picture_grade(margin_db) == grade


def test_grade_is_the_solution_found_by_halving():
    for tenths in range(-300, 200):
        margin_db = tenths / 10 + 0.013
        assert picture_grade(margin_db) == slow_model.grade(margin_db), margin_db


def test_a_pilot_alone_has_the_best_grade():
    assert picture_grade(None) == 5.0
    assert picture_grade(math.inf) == 5.0


def test_where_no_grade_solves_the_formula_it_is_the_worst():
    # The parabola has no point below -18 dB or so; there the picture is gone.
    assert [picture_grade(margin_db) for margin_db in (-18.5, -19.0, -200.0, -math.inf)] == [1.0] * 4


@pytest.mark.parametrize(
    ("grade", "word"),
    [
        (5.0, "clean"),
        (4.5, "clean"),
        (4.4, "specks"),
        (3.5, "specks"),
        (3.4, "lines"),
        (2.5, "lines"),
        (2.4, "do not fly"),
        (1.0, "do not fly"),
    ],
)
def test_grade_has_our_word(grade, word):
    assert grade_word(grade) == word


def test_one_may_fly_from_grade_2_5_on():
    assert LOWEST_FLYABLE_GRADE == 2.5
    assert picture_grade(-13.4) == 2.5
    assert is_flyable(-13.4)
    assert picture_grade(-13.9) == 2.4
    assert not is_flyable(-13.9)
    assert is_flyable(None)


def test_the_word_changes_at_the_margins_named():
    words = ("clean", "specks", "lines", "do not fly")
    assert tuple(word for word, _ in word_margins_db()) == words[:-1]
    for (word, margin_db), poorer in zip(word_margins_db(), words[1:], strict=True):
        assert grade_word(picture_grade(margin_db + 1e-6)) == word
        assert grade_word(picture_grade(margin_db - 1e-6)) == poorer
