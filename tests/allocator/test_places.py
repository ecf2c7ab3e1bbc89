"""The places of a typical heat: who is packed where, and which channels they get."""

import random

import pytest

from server.allocator.places import channels_of_places, places_of_day
from server.allocator.problem import DayProblem, Pilot
from tests.allocator import brute_force
from tests.allocator.brute_force import Entry
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned

WIDE = frozenset({5658, 5695, 5732, 5769})


def go_on(*_):
    return True


def packed(choices, count, heats):
    """Pilots of each place."""
    return [place.pilots for place in places_of_day(choices, count, heats)]


def test_equal_pilots_fill_place_after_place_each_once_a_heat():
    places = places_of_day([WIDE] * 6, count=3, heats=2)
    assert [place.pilots for place in places] == [[0, 1], [2, 3], [4, 5]]
    assert all(place.choices == WIDE for place in places)


def test_who_can_tune_least_comes_first():
    choices = [WIDE, frozenset({5695, 5732}), frozenset({5658})]
    assert packed(choices, count=3, heats=1) == [[2], [1], [0]]


def test_a_pilot_joins_a_place_that_gives_nothing_up_for_it():
    one = frozenset({5658})
    assert packed([one, WIDE], count=2, heats=2) == [[0, 1]]


def test_of_places_that_give_nothing_up_the_narrowest_is_joined():
    one, two = frozenset({5658}), frozenset({5695, 5732})
    places = places_of_day([two, one, WIDE], count=3, heats=2)
    assert [(place.pilots, place.choices) for place in places] == [([1, 2], one), ([0], two)]


def test_a_place_that_would_have_to_give_up_channels_is_joined_only_where_no_new_one_is_left():
    three, other = frozenset({5658, 5695, 5732}), frozenset({5658, 5695, 5769})
    assert packed([three, other], count=2, heats=2) == [[0], [1]]
    (place,) = places_of_day([three, other], count=1, heats=2)
    assert (place.pilots, place.choices) == ([0, 1], frozenset({5658, 5695}))


def test_of_places_that_give_up_channels_the_one_that_keeps_most_is_joined():
    left, right = frozenset({5658, 5665, 5695}), frozenset({5732, 5733, 5769})
    newcomer = frozenset({5665, 5732, 5733, 5800})
    places = places_of_day([left, right, newcomer], count=2, heats=2)
    assert [(place.pilots, place.choices) for place in places] == [
        ([0], left),
        ([1, 2], frozenset({5732, 5733})),
    ]


def test_who_fits_nowhere_is_left_out():
    assert packed([frozenset({5658}), frozenset({5917})], count=1, heats=2) == [[0]]
    assert packed([WIDE] * 3, count=1, heats=2) == [[0, 1]]  # no room


@pytest.mark.parametrize("seed", range(20))
def test_everybody_of_a_place_can_tune_all_of_its_channels(seed):
    dice = random.Random(seed)
    choices = [
        frozenset(dice.sample(sorted(tuned("R")), dice.randint(1, 8))) for _ in range(dice.randint(1, 20))
    ]
    count, heats = dice.randint(1, 6), dice.randint(1, 5)
    places = places_of_day(choices, count, heats)
    assert len(places) <= count
    seated = [pilot for place in places for pilot in place.pilots]
    assert len(seated) == len(set(seated))
    for place in places:
        assert 1 <= len(place.pilots) <= heats
        assert place.choices
        assert all(place.choices <= choices[pilot] for pilot in place.pilots)


def test_channels_of_places_are_the_best_heat_with_a_pilot_of_each():
    choices = [frozenset({5658, 5740, 5800}), frozenset({5700, 5760, 5880}), frozenset({5658, 5725, 5860})]
    day = DayProblem(tuple(Pilot(f"P{row}", tuple(sorted(own))) for row, own in enumerate(choices)))
    places = places_of_day(choices, 3, 1)
    mhz = channels_of_places(day, places, [200.0, 25.0, 600.0], go_on)
    entries = [Entry(str(row), tuple(sorted(place.choices)), 25) for row, place in enumerate(places)]
    verdict = brute_force.best(entries)
    worst = min(brute_force.facts_of(entries, mhz).tenths)
    assert worst == brute_force.tenths_of(verdict.best_worst_db)
    assert all(one in place.choices for one, place in zip(mhz, places, strict=True))


def test_products_count_at_the_least_power():
    # At 600 mW the even comb of band R would be given up; at the 25 mW of the weakest it need not be.
    day = DayProblem(equal_pilots(6))
    places = places_of_day([frozenset(ALL_BANDS)] * 6, 6, 1)
    strong = channels_of_places(day, places, [600.0] * 6, go_on)
    mixed = channels_of_places(day, places, [600.0] * 5 + [25.0], go_on)
    weak = channels_of_places(day, places, [25.0] * 6, go_on)
    assert mixed == weak != strong


def test_banned_channels_and_spacing_hold_for_places():
    day = DayProblem(equal_pilots(2, (5658, 5700, 5760)), bans_mhz=(5760,), minimum_spacing_mhz=40)
    places = places_of_day([frozenset({5658, 5700, 5760})] * 2, 2, 1)
    assert sorted(channels_of_places(day, places, [25.0, 25.0], go_on)) == [5658, 5700]
    tight = DayProblem(equal_pilots(2, (5658, 5700)), minimum_spacing_mhz=50)
    assert channels_of_places(tight, places_of_day([frozenset({5658, 5700})] * 2, 2, 1), [25.0], go_on) == ()
