"""Thirty phones on a day of three rounds, judged by a reading of the words that is not the application's."""

import pytest

from tests.simulated_day.day import Report
from tests.simulated_day.judge import MAY_SWITCH_ON
from tests.simulated_day.play import NAMES, run


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """Every word that the judge wants came in time, or playing the day fails."""
    return run(tmp_path_factory.mktemp("day"))


def test_no_phone_shows_power_up_or_fly_when_it_must_not(report):
    assert report.switched_on_wrongly == []


def test_no_phone_shows_any_other_word_than_it_must(report):
    assert report.wrong == []


def test_every_word_for_a_transmitter_was_seen(report):
    others = {"STAY OFF", "READY", "LAND", "DISARM THEN POWER OFF", "DOWN, STILL ON", "ASK THE DIRECTOR"}
    assert set(report.words) == {*others, *MAY_SWITCH_ON}


def test_the_flights_of_everybody_are_counted_right(report):
    flown = {name: count for name, count in report.flights.items() if count}
    assert {name: count for name, count in report.flights_shown.items() if count} == flown
    assert set(report.flights) == set(NAMES)
    assert sum(flown.values()) > 80


def test_what_must_wait_is_refused_with_its_reason(report):
    reasons = ("is on outside a call", "Walkers are on the field", "EVERYBODY LAND is on")
    assert len(report.refused) == len(reasons)
    for reason, sentence in zip(reasons, report.refused, strict=True):
        assert reason in sentence


def test_overridden_words_and_reasons_stand_in_the_logbook(report):
    for words in (*report.overrides, "Two pictures break up.", "Air ambulance from the north."):
        assert words in report.logbook
    assert report.overrides
