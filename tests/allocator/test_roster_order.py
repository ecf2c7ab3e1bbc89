"""Among pilots of equal gear the lowest channels go to the first of the roster, with no change more."""

import numpy as np
import pytest

from server.allocator import heat
from tests.allocator.mixes import equal_pilots


def gear_set_to(*current, usable=None):
    gear = equal_pilots(len(current), (5658, 5732, 5806, 5917)).gear
    return gear._replace(
        current=np.array(current), usable=gear.usable if usable is None else np.array(usable)
    )


@pytest.mark.parametrize(
    ("current", "found", "settled"),
    [
        ((-1, -1, -1), [3, 1, 0], [0, 1, 3]),
        ((3, -1, -1), [3, 1, 0], [3, 0, 1]),
        ((0, 1, -1), [1, 0, 3], [0, 1, 3]),
        ((-1, 0, -1), [3, 0, 1], [1, 0, 3]),
        ((2, -1, -1), [3, 1, 0], [0, 1, 3]),  # the one that is set is not among them: one change either way
        ((0, 0, -1), [0, 1, 3], [0, 1, 3]),
    ],
)
def test_equal_pilots_get_the_lowest_channels_in_the_order_of_the_roster(current, found, settled):
    assert heat._in_roster_order(gear_set_to(*current), np.array(found)).tolist() == settled


def test_nobody_gets_a_channel_that_is_not_usable():
    usable = [[False, True, True, True], [True] * 4, [True, False, True, False]]
    gear = gear_set_to(-1, -1, -1, usable=usable)
    assert heat._in_roster_order(gear, np.array([3, 1, 0])).tolist() == [1, 3, 0]


def test_pilots_of_other_gear_keep_theirs():
    gear = replace_alike(gear_set_to(-1, -1, -1), [0, 1, 0])
    assert heat._in_roster_order(gear, np.array([3, 1, 0])).tolist() == [0, 1, 3]


def replace_alike(gear, alike):
    return gear._replace(alike=np.array(alike))


def test_changes_are_channels_other_than_the_one_set_the_very_first_one_too():
    gear = gear_set_to(0, 2, -1)
    assert heat._changes(gear, [0, 1, 2], [0, 2, 3]) == 0
    assert heat._changes(gear, [0, 1, 2], [1, 2, 3]) == 1
    assert heat._changes(gear, [0, 1], [1, 0]) == 2
