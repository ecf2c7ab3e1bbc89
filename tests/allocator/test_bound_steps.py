"""How the bound of a day is lowered: which composition is searched next, for how many nodes, and when it ends."""

import math

import numpy as np
import pytest

from server.allocator import bounds
from server.allocator.bounds import DayBound, PartingBound, Sizes
from server.allocator.problem import DayProblem
from server.allocator.schedule import Frame, frame_of
from server.allocator.scoring import day_gear
from tests.allocator.days import equal_pilots


class Falling(PartingBound):
    """A bound of compositions whose ceilings are given; each search costs so many nodes and lowers it by 1 dB."""

    def __init__(self, margin_db, ceilings, nodes=500, searched=()):
        self.margin_db = margin_db
        self.of_composition = ceilings
        self.parting = tuple(ceilings)
        self.costs = nodes
        self.done = set(searched)
        self.asked = []

    def _ceiling(self, composition):
        return self.of_composition[composition]

    def _is_searched(self, composition):
        return composition in self.done

    def _search(self, composition, node_limit):
        self.asked.append((composition, node_limit))
        self.done.add(composition)
        return self.costs

    def _best_parting(self):
        return self.margin_db - 1.0, self.parting


FULL, MIXED, SMALL = (4, 0), (2, 1), (1, 0)


def test_the_composition_of_the_lowest_ceiling_is_searched_first():
    bound = Falling(9.0, {FULL: 3.0, SMALL: math.inf, MIXED: 2.0})
    bound.lower(-10.0, 100_000)
    assert [composition for composition, _ in bound.asked] == [MIXED, FULL]
    assert bound.margin_db == 7.0


def test_a_search_costs_its_nodes_and_those_of_another_parting():
    bound = Falling(9.0, {FULL: 3.0, MIXED: 2.0, SMALL: 4.0})
    bound.lower(-10.0, 5_000)
    assert bound.asked == [(MIXED, 5_000), (FULL, 2_500)]
    bound = Falling(9.0, {FULL: 3.0, MIXED: 2.0, SMALL: 4.0})
    bound.lower(-10.0, 5_001)
    assert len(bound.asked) == 3
    bound = Falling(9.0, {FULL: 3.0})
    bound.lower(-10.0, 0)
    assert bound.asked == []


@pytest.mark.parametrize(("enough_db", "searches"), [(8.0, 1), (7.996, 1), (7.99, 2), (8.995, 0), (8.99, 1)])
def test_a_bound_is_lowered_until_it_is_near_to_what_is_enough(enough_db, searches):
    bound = Falling(9.0, {FULL: 3.0, MIXED: 2.0})
    bound.lower(enough_db, 100_000)
    assert len(bound.asked) == searches


@pytest.mark.parametrize("bound", [math.inf, -math.inf])
def test_an_infinite_bound_is_not_searched(bound):
    one = Falling(bound, {FULL: 3.0})
    one.lower(-math.inf, 100_000)
    assert one.asked == []


def test_a_parting_that_is_searched_through_ends_it():
    bound = Falling(9.0, {FULL: 3.0, MIXED: 2.0}, searched=[FULL, MIXED])
    bound.lower(-10.0, 100_000)
    assert bound.asked == []


def day_bound(powers, heats, **wishes):
    day = DayProblem(equal_pilots(len(powers)), **{"aircraft": -(-len(powers) // heats), **wishes})
    return DayBound(day, day_gear(day, powers), frame_of(day), None)


def test_equal_pilots_are_searched_for_longer_than_mixed_ones(monkeypatch):
    bound = day_bound([25.0] * 3 + [200.0], 1)._arguments[0]
    asked = []
    search = bounds.best_worst_margin

    def record(gear, nodes, *rest):
        asked.append((len(gear.sense), nodes))
        return search(gear, nodes, *rest)

    monkeypatch.setattr(bounds, "best_worst_margin", record)
    for composition, limit in (((2, 0), 10**6), ((0, 1), 10**6), ((1, 1), 10**6), ((2, 0), 77), ((1, 1), 77)):
        bound._search(composition, limit)
    assert asked == [(2, 100_000), (1, 100_000), (2, 10_000), (2, 77), (2, 77)]


def test_a_ceiling_that_is_found_holds_for_all_that_hold_the_composition():
    bound = day_bound([25.0] * 4 + [200.0], 1)._arguments[0]
    ceilings = bound.ceilings
    row_of = {tuple(others): row for row, others in enumerate(bound.others.tolist())}
    alone, mixed = row_of[0,], row_of[1,]
    before = ceilings.copy()
    nodes = bound._search((3, 0), 10**6)
    assert nodes == bound.nodes > 0
    # Three of 25 mW: two others 28 dB down by selectivity at the most and 20 dB up by the distance.
    found = ceilings[alone, 3]
    assert found < 8 - 10 * math.log10(2) + 0.01
    assert (ceilings[alone, 3:] <= found).all()
    assert (ceilings[mixed, 3:] <= found).all()
    assert (ceilings[:, :3] == before[:, :3]).all()
    assert bound.searched[alone, 3]
    assert bound.searched.sum() == 1


def test_nodes_of_searches_add_up():
    bound = day_bound([25.0] * 4, 1)._arguments[0]
    first = bound._search((3,), 10**6)
    second = bound._search((4,), 10**6)
    assert bound.nodes == first + second


def test_a_day_is_bounded_by_the_lowest_of_its_partings_and_shares_out_nodes():
    bound = day_bound([25.0] * 3 + [200.0], 2)
    asked = []

    class Argument:
        def __init__(self, margin_db, nodes):
            self.margin_db, self.nodes = margin_db, nodes

        def lower(self, enough_db, node_limit):
            asked.append((self.margin_db, enough_db, node_limit))

    bound._arguments = [Argument(5.0, 100), Argument(3.0, 0), Argument(4.0, 20_000)]
    assert bound.margin_db == 3.0
    assert bound.parting_db == 5.0
    bound.lower(2.5)
    assert asked == [(3.0, 2.5, 120_000), (4.0, 2.5, 100_000), (5.0, 2.5, 119_900)]


@pytest.mark.parametrize(
    ("present", "most", "is_fair", "sizes"),
    [
        (4, 3, True, Sizes(2, 2, 2)),
        (3, 3, True, Sizes(2, 0, 2)),
        (4, 3, False, Sizes(2, 1, 3)),
        (6, 3, False, Sizes(2, 3, 3)),
        (2, 3, False, Sizes(2, 0, 3)),
    ],
)
def test_sizes_of_heats_are_even_or_whatever_the_others_leave_over(present, most, is_fair, sizes):
    assert bounds._sizes(Frame(2, 2, 2), present, 4, most, is_fair) == sizes


@pytest.mark.parametrize(("left_out", "least"), [(0, 3), (1, 2), (3, 0), (4, 0)])
def test_who_is_not_counted_may_fill_a_heat(left_out, least):
    assert bounds._without(Sizes(2, 3, 5), left_out) == Sizes(2, least, 5)


def test_rounds_of_the_same_pilots_are_bounded_once():
    day = DayProblem(equal_pilots(4), aircraft=2, rounds=3)
    found = DayBound(day, day_gear(day, [25.0] * 4), frame_of(day), None)
    assert len(found._arguments) == 2  # by what they radiate, and by the channels they can use


def test_how_many_of_each_rarer_item_can_share_a_heat_is_counted_by_seats():
    # Kinds of 25, 100 and 200 mW, two of each beside three, two in a heat at most: no more than two others.
    bound = day_bound([25.0] * 3 + [100.0] * 2 + [200.0] * 2, 4)._arguments[0]
    assert sorted(map(tuple, bound.others.tolist())) == [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (2, 0)]
    assert bound.seats.tolist() == [sum(row) for row in bound.others.tolist()]
    above = bound.above
    rows = [tuple(row) for row in bound.others.tolist()]
    for row, others in enumerate(rows):
        for kind in range(2):
            fuller = tuple(n + (k == kind) for k, n in enumerate(others))
            assert above[row, kind] == (rows.index(fuller) if fuller in rows else -1)
    assert np.isneginf(bound.ceilings[rows.index((2, 0)), 1:]).all()


def test_compositions_of_the_parting_are_of_the_kinds_told():
    # Three items by what they radiate, one by the channels.
    bound = day_bound([25.0] * 3 + [100.0] * 2 + [200.0], 2)
    assert len(bound.kinds.counts) == 3
    assert all(len(composition) == 3 for composition in bound.parting)
    assert len(bound.parting) == 2


def test_full_heats_without_the_most_frequent_kind_are_parted_too():
    # Two heats of two: the loud pair apart from the weak ones, or one loud pilot in each.
    assert sorted(day_bound([25.0] * 2 + [200.0] * 2, 2).parting) == [(0, 2), (2, 0)]
