"""One day after another, pressed blindly; `tests.benchmarks.day_life` presses many more."""

import pytest

from server.services import call_slots, flight_line
from tests.attack.day_life import DayLife, live


def test_whatever_is_pressed_on_a_day_its_plans_its_words_and_its_logbook_hold():
    before = DayLife.presses.copy()
    live(days=40, presses=50, seed=None)
    assert (DayLife.presses - before)["accepted"] >= 800


def test_two_pilots_who_are_told_to_power_up_at_once_would_be_found(monkeypatch):
    monkeypatch.setattr(call_slots.call_settling, "take_back_turns", lambda *_: None)
    day = DayLife()
    try:
        for press in (day.usual_step, day.usual_step, day.undo):
            day.what_has_to_hold()
            press()
        with pytest.raises(AssertionError, match=r"told to power up at once: \['Otter', 'Wren'\]"):
            day.what_has_to_hold()
    finally:
        day.teardown()


def test_a_change_without_a_row_in_the_logbook_would_be_found(monkeypatch):
    monkeypatch.setattr(flight_line, "log", lambda *_: None)
    day = DayLife()
    try:
        with pytest.raises(AssertionError, match="without a row in the logbook"):
            day.everybody_land(reason="")
    finally:
        day.teardown()
