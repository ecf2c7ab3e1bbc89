"""The drawing of the margins against the numbers that it draws: order, places to scale, and its edges."""

import pytest

from server.services.margin_chart import (
    ALL_AT_ONCE,
    CHARACTER,
    FIRST_ROWS,
    FOOT,
    HEAD,
    NARROW,
    WIDE,
    margin_picture,
)
from server.services.margin_words import signed_db

MINUS = "\N{MINUS SIGN}"


def heat(number, ceiling_db=1.0, **margins_db):
    slots = [
        {
            "pilot_id": callsign,
            "callsign": callsign,
            "margin_db": margin_db,
            "grade_word": f"word of {margin_db}",
        }
        for callsign, margin_db in margins_db.items()
    ]
    return {"heat": number, "site_ceiling_db": ceiling_db, "slots": slots}


def picture_of(*heats, **values):
    picture = margin_picture({"heats": list(heats), **values})
    assert picture is not None
    return picture


def wide(picture):
    return picture.first[0]


def db_at(chart, x):
    """The margin of a place, by two marks of the scale."""
    (low_words, low_x), (high_words, high_x) = chart.scale[0], chart.scale[-1]
    low, high = (float(words.replace(MINUS, "-")) for words in (low_words, high_words))
    return low + (x - low_x) * (high - low) / (high_x - low_x)


def test_every_pilot_has_one_row_with_the_worst_of_all_heats():
    picture = picture_of(heat(1, Wren=0.4, Otter=-3.0), heat(2, Wren=-1.0, Otter=2.0), heat(3, Wren=3.0))
    assert [(row.callsign, row.heat, row.margin_db) for row in picture.rows] == [
        ("Otter", 1, -3.0),
        ("Wren", 2, -1.0),
    ]
    assert [row.others_db for row in picture.rows] == [(2.0,), (0.4, 3.0)]
    assert [row.grade_word for row in picture.rows] == ["word of -3.0", "word of -1.0"]


def test_equal_margins_stand_in_the_order_of_heats_and_names():
    picture = picture_of(heat(2, Adder=1.0), heat(1, Zephyr=1.0, Bramble=1.0))
    assert [row.callsign for row in picture.rows] == ["Bramble", "Zephyr", "Adder"]


@pytest.mark.parametrize("drawn", [0, 1])
def test_marks_stand_at_their_margins(drawn):
    chart = picture_of(heat(1, 3.2, Wren=0.4, Otter=-11.4), heat(2, 5.0, Wren=2.5)).first[drawn]
    unit_db = db_at(chart, 1) - db_at(chart, 0)
    for placed in chart.rows:
        assert db_at(chart, placed.x) == pytest.approx(placed.row.margin_db, abs=unit_db / 10)
        assert db_at(chart, placed.ceiling_x) == pytest.approx(3.2, abs=unit_db / 10)
        assert placed.margin == signed_db(placed.row.margin_db)
        assert placed.beyond == 0
    assert [db_at(chart, x) for x in chart.rows[1].others_x] == [pytest.approx(2.5, abs=unit_db / 10)]


def test_rows_stand_below_each_other_between_head_and_foot():
    for chart, layout in zip(picture_of(heat(1, Wren=1.0, Otter=2.0)).first, (WIDE, NARROW), strict=True):
        assert [placed.y for placed in chart.rows] == [HEAD, HEAD + layout.row]
        assert chart.height == HEAD + 2 * layout.row + FOOT


def test_a_pilot_alone_stands_last_at_the_better_edge():
    chart = wide(picture_of(heat(1, None, Wren=None), heat(2, 1.0, Otter=0.5)))
    alone = chart.rows[1]
    assert (alone.row.callsign, alone.margin, alone.ceiling_x) == ("Wren", "alone", None)
    assert (alone.x, alone.beyond) == (WIDE.right, 1)


def test_one_pilot_of_a_day_is_drawn_without_a_ceiling():
    picture = picture_of(heat(1, None, Wren=None))
    assert [len(chart.rows) for chart in picture.first] == [1, 1]
    assert [chart.ceiling for chart in picture.first] == [None, None]
    assert "ceiling" not in wide(picture).words


def test_margins_off_the_scale_stand_at_its_edges():
    chart = wide(picture_of(heat(1, 1.0, Wren=-70.0, Otter=90.0)))
    assert [(placed.x, placed.beyond) for placed in chart.rows] == [(WIDE.left, -1), (WIDE.right, 1)]
    assert [words for words, _ in chart.scale][0::16] == [f"{MINUS}40", "+40"]


def test_the_scale_reaches_where_pictures_differ_and_as_far_as_marks():
    assert [words for words, _ in wide(picture_of(heat(1, Wren=0.0))).scale] == [
        f"{MINUS}10",
        f"{MINUS}5",
        "0",
        "+5",
    ]
    assert wide(picture_of(heat(1, Wren=-14.5))).scale[0][0] == f"{MINUS}20"
    assert wide(picture_of(heat(1, 13.5, Wren=0.0))).scale[-1][0] == "+15"


def test_words_of_grades_begin_where_they_change():
    chart = wide(picture_of(heat(1, Wren=-18.0)))
    found = {word: db_at(chart, x) for x, word in chart.words_from}
    # CCIR Report 634 solved for grades 4.45, 3.45 and 2.45, as in tests/radio/test_grade.py
    assert found == {
        "clean": pytest.approx(-0.45, abs=0.05),
        "specks": pytest.approx(-8.14, abs=0.05),
        "lines": pytest.approx(-13.63, abs=0.05),
    }


def test_a_word_without_room_is_left_out_and_its_line_stays():
    chart = picture_of(heat(1, 38.0, Wren=-39.0)).first[1]
    assert len(chart.words_from) == 3
    assert [word for _, word in chart.words_from] == ["clean", "", ""]


def test_the_ceiling_is_named_and_so_are_several():
    assert wide(picture_of(heat(1, 1.01, Wren=0.0))).ceiling[1] == "site ceiling +1.0 dB"
    several = wide(picture_of(heat(1, 3.2, Wren=0.0), heat(2, 1.0, Otter=0.0)))
    assert several.ceiling == (several.rows[1].ceiling_x, "site ceiling, from +1.0 dB on")


def test_few_pilots_are_drawn_at_once_and_many_fold_up():
    def of(count):
        return picture_of(heat(1, **{f"P{number:02}": float(number) for number in range(count)}))

    assert of(ALL_AT_ONCE).rest == of(ALL_AT_ONCE).folded == ()
    many = of(64)
    assert [len(chart.rows) for chart in (*many.first, *many.rest)] == [FIRST_ROWS] * 2 + [
        64 - FIRST_ROWS
    ] * 2
    assert [placed.row for placed in many.first[0].rows + many.rest[0].rows] == list(many.rows)
    assert many.folded == many.rows[FIRST_ROWS:]
    assert {chart.scale for chart in many.first} == {chart.scale for chart in many.rest}
    assert len({chart.key for chart in (*many.first, *many.rest)}) == 4


@pytest.mark.parametrize("layout", [WIDE, NARROW])
def test_the_longest_callsign_ends_before_what_stands_beside_it(layout):
    name_ends = layout.name[0] + 24 * CHARACTER
    beside = layout.left if layout.name[1] == layout.margin[1] and layout is WIDE else layout.margin[0] - 60
    assert name_ends < beside
    assert layout.word[0] + len("do not fly") * CHARACTER <= layout.width


def test_heats_that_were_flown_are_left_out_while_any_is_ahead():
    heats = heat(1, Wren=-9.0), heat(2, Wren=1.0)
    assert [row.heat for row in picture_of(*heats, flown_heats=1).rows] == [2]
    assert [row.heat for row in picture_of(*heats, flown_heats=2).rows] == [1]


@pytest.mark.parametrize("heats", [[], [heat(1)]])
def test_where_nobody_flies_there_is_nothing_to_draw(heats):
    assert margin_picture({"heats": heats}) is None


def test_the_words_tell_every_row_and_the_ceiling():
    words = wide(picture_of(heat(1, 1.0, Wren=0.4, Otter=None))).words
    assert words == (
        "The worst first: Wren +0.4 dB, word of 0.4, in heat 1; Otter alone, word of None, in heat 1. "
        "Site ceiling +1.0 dB."
    )
