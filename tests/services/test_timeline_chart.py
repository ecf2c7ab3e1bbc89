"""The drawing of a day's hours: boxes to scale in lines of hours, nothing drawn that has no time."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from server.services.day_clock import DayClock
from server.services.day_timeline import DayTimeline, HeatTime, Period
from server.services.timeline_chart import (
    BELOW,
    CHARACTER,
    GAP,
    HEAD,
    HOURS,
    LANE,
    MOST_LINES,
    NARROW,
    THINNEST,
    WIDE,
    timeline_charts,
    timeline_picture,
)

NINE = datetime(2026, 5, 16, 9, tzinfo=UTC)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def flown(number, begins, ends, round_number=1, state="flown"):
    return HeatTime((number,), round_number, state, at(begins), at(ends))


def next_heat(number, begins, ends, round_number=1):
    return HeatTime((number,), round_number, "next", at(begins), at(ends), is_expected=True)


def day(*heats, periods=(), now=0, starts=None, ends=None, zone="UTC", **values):
    return DayTimeline(
        at=at(now),
        time_zone=zone,
        heats=heats,
        periods=periods,
        starts_at=None if starts is None else at(starts),
        ends_by=None if ends is None else at(ends),
        clock=DayClock(at(now), timedelta(minutes=10), 2, None, 3, None, 3, None),
        is_archived=False,
        **values,
    )


def drawn(*heats, narrow=False, **values):
    return timeline_charts(day(*heats, **values))[narrow]


def minutes_at(x, layout):
    return (x - layout.left) / (layout.right - layout.left) * 60 * layout.hours


@pytest.mark.parametrize(("narrow", "layout"), [(False, WIDE), (True, NARROW)])
def test_boxes_stand_at_their_times(narrow, layout):
    line = drawn(flown(1, 6, 15), flown(2, 18, 33), narrow=narrow).lines[0]
    tolerance = 0.1 / (layout.right - layout.left) * 60 * layout.hours
    for box, (begins, ends) in zip(line.heats, [(6, 15), (18, 33)], strict=True):
        assert minutes_at(box.x, layout) == pytest.approx(begins, abs=tolerance)
        assert minutes_at(box.x + box.width, layout) == pytest.approx(ends, abs=2 * tolerance)
    assert [(box.kind, box.words) for box in line.heats] == [("flown", "1"), ("flown", "2")]


def test_a_phone_has_a_line_for_every_hour_and_a_box_goes_on_below():
    first, second = drawn(flown(1, 50, 70), narrow=True).lines
    assert (first.label, second.label) == ("09:00", "10:00")
    assert first.heats[0].x + first.heats[0].width == pytest.approx(NARROW.right, abs=0.1)
    assert second.heats[0].x == NARROW.left
    assert second.heats[0].width == first.heats[0].width


def test_hours_are_those_of_the_field():
    assert drawn(flown(1, 6, 15), zone="Asia/Kolkata").lines[0].label == "14:00"
    assert [words for _, words in drawn(flown(1, 6, 15)).lines[0].hours] == [
        "09:00",
        "10:00",
        "11:00",
        "12:00",
        "13:00",
    ]
    assert [words for _, words in drawn(flown(1, 6, 15), narrow=True).lines[0].hours][1] == "09:15"


def test_lines_lie_below_each_other_and_have_room_for_what_they_show():
    chart = drawn(
        flown(1, 50, 70), starts=48, periods=(Period("walkers", at(71), at(80), is_on=False),), narrow=True
    )
    first, second = chart.lines
    assert (first.y, first.heats_y, first.below_y) == (0, HEAD, HEAD + LANE + 2)
    assert first.hours_y == first.below_y + BELOW
    assert second.y == first.hours_y + HOURS + GAP
    assert (second.heats_y, chart.height) == (second.y, second.hours_y + HOURS + GAP)  # no words above


def test_a_heat_left_up_for_months_is_drawn_by_its_first_and_its_last_hours():
    months = 90 * 24 * 60
    short, long = (timeline_charts(day(flown(1, 0, minutes, state="up")))[1] for minutes in (24 * 60, months))
    assert len(short.lines) == len(long.lines) == MOST_LINES
    assert [line.label for line in long.lines[:12]] == [line.label for line in short.lines[:12]]
    assert long.lines[-1].label == "08:00"


def test_a_few_empty_hours_are_drawn_and_many_are_not():
    assert len(drawn(flown(1, 0, 8), flown(2, 185, 190), narrow=True).lines) == 4
    assert [line.label for line in drawn(flown(1, 0, 8), flown(2, 245, 250), narrow=True).lines] == [
        "09:00",
        "13:00",
    ]


def test_the_first_heat_of_a_round_opens_it_once():
    chart = drawn(
        flown(1, 50, 70), flown(2, 72, 80), flown(3, 90, 95, 2), flown(4, 97, 99, None), narrow=True
    )
    assert [[box.opens_round for box in line.heats] for line in chart.lines] == [
        [True],
        [False, False, True, False],
    ]


def test_a_number_without_room_is_left_out():
    number = HeatTime((117, 118), 1, "flown", at(0), at(20))
    wide, narrow = timeline_charts(day(number))
    assert (wide.lines[0].heats[0].words, narrow.lines[0].heats[0].words) == ("117 118", "117 118")
    assert drawn(HeatTime((117, 118), 1, "flown", at(0), at(10))).lines[0].heats[0].words == ""


def test_a_moment_still_is_a_thin_box():
    assert drawn(flown(1, 5, 5)).lines[0].heats[0].width == THINNEST


def test_periods_never_write_over_each_other():
    periods = tuple(Period("EVERYBODY LAND", at(m), at(m + 3), is_on=False) for m in (0, 8, 60, 150))
    boxes = drawn(periods=periods).lines[0].periods
    assert [(bool(box.words), box.is_beside) for box in boxes] == [
        (False, True),
        (True, True),
        (True, True),
        (True, True),
    ]
    for left, right in pairwise(boxes):
        assert left.x + left.width + len(left.words) * CHARACTER <= right.x


def test_a_long_period_has_its_words_inside():
    lunch = Period("break", at(0), at(66), is_on=False)
    box = drawn(periods=(lunch,)).lines[0].periods[0]
    assert (box.kind, box.words, box.is_beside) == ("break", "66 min without a heat", False)


def test_now_and_the_hours_that_were_set_stand_where_they_belong():
    marks = drawn(next_heat(1, 30, 40), now=20, starts=120, ends=236).lines[0].marks
    assert [(mark.kind, mark.words, mark.anchor) for mark in marks] == [
        ("now", "now 09:20", "start"),
        ("first heat", "first heat 11:00", "start"),
        ("over by", "over by 12:56", "end"),
    ]
    assert [minutes_at(mark.x, WIDE) for mark in marks] == [pytest.approx(m, abs=0.1) for m in (20, 120, 236)]


def test_words_that_would_lie_over_those_of_now_are_left_out():
    marks = drawn(next_heat(1, 30, 40), now=20, starts=22, ends=62).lines[0].marks
    assert [mark.words for mark in marks] == ["now 09:20", "", "over by 10:02"]


def test_now_is_not_drawn_once_nothing_goes_on():
    assert drawn(flown(1, 0, 8), now=20).lines[0].marks == ()


def test_heats_without_times_are_told_and_not_drawn():
    ahead = HeatTime((3,), 1, "next")
    picture = timeline_picture(day(ahead))
    assert picture.charts == ()
    assert [(row.what, row.begins, row.ends, row.words) for row in picture.rows] == [
        ("heat 3", "", "", "next")
    ]
    chart = drawn(flown(1, 0, 8), ahead)
    assert [box.words for line in chart.lines for box in line.heats] == ["1"]
    assert chart.words == "1 heat flown, from 09:00 to 09:08. Ahead: heat 3. They have no times yet."


def test_the_words_and_the_rows_tell_what_is_drawn():
    picture = timeline_picture(
        day(
            flown(1, 0, 8),
            flown(2, 12, 20),
            flown(3, 30, 36, state="up"),
            next_heat(4, 40, 50, 2),
            periods=(
                Period("walkers", at(21), at(25), is_on=False),
                Period("open flying", at(26), at(36), is_on=True),
            ),
            now=36,
        )
    )
    assert picture.charts[0].words == (
        "2 heats flown, from 09:00 to 09:20. Heat 3 is up since 09:30. Ahead: heat 4. The last is over at about "
        "09:50. From 09:21 to 09:25: walkers. From 09:26 to 09:36: open flying."
    )
    assert [(row.what, row.round, row.begins, row.ends, row.words) for row in picture.rows] == [
        ("heat 1", 1, "09:00", "09:08", "flown"),
        ("heat 2", 1, "09:12", "09:20", "flown"),
        ("heat 3", 1, "09:30", "", "up"),
        ("heat 4", 2, "about 09:40", "about 09:50", "next"),
        ("walkers", None, "09:21", "09:25", ""),
        ("open flying", None, "09:26", "", ""),
    ]


def test_a_long_day_of_sixty_heats_keeps_its_numbers_on_both_screens():
    heats = [flown(number, 8 * number, 8 * number + 6, 1 + number // 8) for number in range(60)]
    for chart in timeline_charts(day(*heats)):
        assert {box.words for line in chart.lines for box in line.heats} >= {
            str(number) for number in range(60)
        }


def test_no_timeline_is_no_picture():
    assert timeline_picture(None) is None
