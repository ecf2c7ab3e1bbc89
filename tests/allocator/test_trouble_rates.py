"""The assumed rates and strengths of causes, stated as facts: common practice, no source, for every number."""

import pytest

from server.allocator import (
    trouble,
    trouble_choice,
    trouble_effects,
    trouble_rates,
    trouble_receiver,
    trouble_signs,
    trouble_tests,
)

RATES = {
    "WRONG_CHANNEL": 0.08,
    "WRONG_CHANNEL_CONFIRMED": 0.005,
    "IN_THE_PITS": 0.004,
    "IN_THE_PITS_NEXT": 0.012,
    "IN_THE_PITS_ON": 0.5,
    "ON_ITS_LAST_CHANNEL": 0.7,
    "LOUD": 0.05,
    "HOT": 0.01,
    "TOO_LOUD_DB": 6.0,
    "POOR_RECEIVER": 0.03,
    "SOONER_DB": (10.0, 16.0),
    "WEAK_LINK": 0.03,
    "WEAKER_DB": (10.0, 17.0),
    "STILL_ON": 0.15,
    "NOTED_SIGNAL": 0.1,
    "SIGNAL_NOT_NOTED": 0.005,
    "USUAL_SIGNAL": (10.0, -75.0),
}
LIMITS = {
    trouble: {"LEAST_CHANCE": 0.005, "LEAST_WEIGHT": 1e-4, "SOMETHING_ELSE": 0.002},
    trouble_choice: {"PRICE": 0.002, "SURE": 0.85},
    trouble_effects: {"MOST_PRODUCTS": 4, "REACH_MHZ": 45, "FAINT_DB": 25.0},
    trouble_receiver: {"OFF_TUNE_ROOM_DB": 5.0},
    trouble_signs: {
        "PICTURE_WITHIN_MHZ": 12,
        "CAPTURES_DB": -25.0,
        "SPOILS_DB": -8.0,
        "LASTS": 2.0,
        "NOTICED_AT_DB": -6.0,
        "NOTICED_WITHIN_DB": 4.0,
        "SPEAKS_UP": 0.5,
        "COMPLAINS_OF_NOTHING": 0.02,
        "NAMED_RIGHT": 0.8,
    },
    trouble_tests: {
        "MISSEEN": 0.08,
        "MISREAD": 0.05,
        "COMES_AND_GOES": 0.25,
        "STAYS": 0.05,
        "OWNS_UP": 0.85,
        "FALSE_ALARM": 0.03,
        "HALF_THE_DISTANCE_DB": pytest.approx(6.0206, abs=1e-4),
        "IN_THE_RECEIVER": 0.4,
        "WITHIN_MHZ": 4.0,
        "READ_TO_MHZ": 2.0,
        "PLAIN_DB": 6.0,
        "LEVEL_TO_DB": 3.0,
        "STILL_ON_UNRELATED": 0.5,
        "SOMETHING_AT_DBM": -85.0,
        "SOMETHING_TO_DB": 5.0,
    },
}
SECONDS = {
    "pits": 15,
    "far": 20,
    "who far": 15,
    "all far": 40,
    "nearer": 15,
    "other receiver": 20,
    "channel": 30,
    "sweep": 15,
    "level": 30,
    "still on": 20,
    "landed": 180,
}


@pytest.mark.parametrize(("name", "value"), RATES.items())
def test_how_often_causes_happen_and_how_strong_they_are(name, value):
    assert getattr(trouble_rates, name) == value


@pytest.mark.parametrize(
    ("module", "name", "value"),
    [(module, name, value) for module, values in LIMITS.items() for name, value in values.items()],
)
def test_limits_and_errors_of_the_judgement(module, name, value):
    assert getattr(module, name) == value


@pytest.mark.parametrize(("kind", "seconds"), SECONDS.items())
def test_how_long_each_test_takes_for_one_pilot(kind, seconds):
    assert trouble_tests.SafeTest(kind, ("Wren",)).seconds == seconds
