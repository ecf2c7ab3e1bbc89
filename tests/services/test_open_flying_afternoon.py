"""What must hold through an afternoon of open flying with 20 pilots of mixed gear."""

import shutil

import pytest

from server.storage.session import Database
from tests.services.open_flying_afternoon import fly_the_afternoon

SEED = 1
AN_HOUR = 60
"""In steps."""


@pytest.fixture(scope="module")
def play(migrated_file, tmp_path_factory):
    """Plays the afternoon on a data file of its own."""
    opened = []

    def on_its_own_file(**how):
        file = shutil.copy(migrated_file, tmp_path_factory.mktemp("afternoon") / "bandstand.sqlite")
        opened.append(Database(file))
        return fly_the_afternoon(opened[-1], SEED, **how)

    yield on_its_own_file
    for database in opened:
        database.close()


@pytest.fixture(scope="module")
def afternoon(play):
    return play()


def test_nobody_is_ever_below_do_not_fly(afternoon):
    assert afternoon.lowest_grade >= 2.5


def test_nobody_is_passed_over_more_than_once_for_want_of_a_channel(afternoon):
    assert afternoon.most_passed == 1


def test_no_more_are_up_than_may_be(afternoon):
    assert afternoon.most_up == 6


def test_everybody_flies(afternoon):
    assert len(afternoon.flights_by_pilot) >= 18
    assert min(afternoon.flights_by_pilot.values()) >= 1
    assert afternoon.flights > 60


def test_everything_happened_that_happens_at_a_field(afternoon):
    story = "\n".join(afternoon.told)
    for words in (
        "clear by computation",
        "the director said so",
        "called to land",
        "does not hold any more",
        "left the day",
        "is back: undone",
        "has had the place for 10 minutes",
        "left the queue",
        "gave the place back",
    ):
        assert words in story


def test_played_again_it_goes_the_same_way(play, afternoon):
    again = play(steps=AN_HOUR)
    assert len(again.told) > 100
    assert again.told == afternoon.told[: len(again.told)]
