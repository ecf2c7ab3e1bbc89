"""Where the walks begin: pilots dealt into the compositions of a parting, wishes kept where they can be."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem, Pilot
from server.allocator.starts import parted_start, places_start
from tests.allocator.days import ALL_BANDS, equal_pilots


def search_for(pilots, powers, **wishes):
    day = DayProblem(tuple(pilots), **{"time_limit_s": None, **wishes})
    return DaySearch(day, powers, lambda *_: True)


def parted(search, enough_db=-100.0):
    bound = search.bound
    channel = places_start(search, [0] * search.count).channel
    return parted_start(search, bound.parting, bound.kinds, channel, search._everybody().allowed, enough_db)


POWERS = [25.0] * 6 + [200.0] * 3


def test_every_heat_gets_the_composition_of_the_parting():
    search = search_for(equal_pilots(9), POWERS, aircraft=3)
    found = parted(search)
    kinds = search.bound.kinds
    dealt = [Counter(kinds.item_of[found.heat_of == heat].tolist()) for heat in range(3)]
    assert (
        sorted((one[0], one[1]) for one in dealt) == sorted(search.bound.parting) == [(0, 3), (3, 0), (3, 0)]
    )


def test_each_heat_of_equal_pilots_gets_one_pilot_of_each_channel():
    search = search_for(equal_pilots(12), [25.0] * 12, aircraft=4)
    found = parted(search)
    for heat in range(3):
        assert len(set(found.channel[found.heat_of == heat].tolist())) == 4


def test_who_may_fly_in_one_heat_only_is_there_and_the_parting_makes_room():
    pilots = list(equal_pilots(9))
    pilots[7] = replace(pilots[7], heat=1)
    pilots[2] = replace(pilots[2], heat=3)
    found = parted(search_for(pilots, POWERS, aircraft=3))
    assert (found.heat_of[7], found.heat_of[2]) == (0, 2)
    assert set(found.heat_of[6:].tolist()) == {0}


def test_whoever_is_dealt_first_gets_the_first_of_the_own_heats():
    pilots = list(equal_pilots(6))
    pilots[3] = replace(pilots[3], after=1)
    assert parted(search_for(pilots, [25.0] * 6, aircraft=2)).heat_of[3] == 1


def test_two_on_one_fixed_channel_are_dealt_to_different_heats():
    pilots = [*equal_pilots(6), Pilot("Wren", (5800,)), Pilot("Rook", (5800,)), Pilot("Coot", (5805,))]
    found = parted(search_for(pilots, [25.0] * 9, aircraft=3))
    assert len(set(found.heat_of[6:].tolist())) == 3
    assert np.bincount(found.heat_of).tolist() == [3, 3, 3]


def test_pilots_apart_are_dealt_to_different_heats():
    pilots = list(equal_pilots(6))
    pilots[0] = replace(pilots[0], apart=frozenset({"P01", "P02"}))
    found = parted(search_for(pilots, [25.0] * 6, aircraft=3))
    assert found.heat_of[0] not in found.heat_of[1:3]


@pytest.mark.parametrize(("enough_db", "is_tuned"), [(-100.0, False), (99.0, True)])
def test_a_heat_below_what_is_enough_is_tuned_by_itself(enough_db, is_tuned):
    pilots = [*equal_pilots(2, (5658, 5695)), Pilot("Otter", ALL_BANDS), Pilot("Umber", ALL_BANDS)]
    search = search_for(pilots, [25.0] * 4, aircraft=2)
    kept, found = parted(search), parted(search, enough_db)
    assert kept.heat_of.tolist() == found.heat_of.tolist()
    assert search._worst_db(found) >= search._worst_db(kept) - 1e-9
    assert is_tuned or kept.channel.tolist() == found.channel.tolist()


def test_the_best_parting_leads_to_a_round_that_a_walk_alone_does_not_find():
    # Six loud pilots fill a heat of their own; any of them beside weak ones costs 9 dB and more.
    pilots = equal_pilots(24)
    search = search_for(pilots, [25.0] * 18 + [200.0] * 6, aircraft=6)
    found = search._first_round(search._starts())
    assert search._worst_db(found) >= search.bound.margin_db - 0.5
    assert len(set(found.heat_of[18:].tolist())) == 1
