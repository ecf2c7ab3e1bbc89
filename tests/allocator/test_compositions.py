"""Kinds and items of gear, and the ceilings of heats made of them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.allocator.compositions import ceilings_db, heat_gear, kinds_by_channels, kinds_by_radiation
from server.allocator.heat import best_worst_margin
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import pairs
from server.allocator.scoring import day_gear
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned


def by_radiation(pilots, powers, most=1000, there=None):
    day = DayProblem(tuple(pilots))
    there = range(len(pilots)) if there is None else there
    return kinds_by_radiation(day_gear(day, powers), there, pairs(day, "together"), pairs(day, "apart"), most)


def test_kinds_are_pilots_of_one_radiation_the_most_frequent_first():
    kinds = by_radiation(equal_pilots(6), [200.0, 25.0, 25.0, 200.0, 25.0, 600.0])
    assert kinds.counts == (3, 2, 1)
    assert kinds.item_of.tolist() == [1, 0, 0, 1, 0, 2]
    assert kinds.content.tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
    assert kinds.gear.level_mw[0] / kinds.gear.level_mw[0, 0] == pytest.approx([1, 8, 24])


def test_who_is_not_there_is_not_counted():
    kinds = by_radiation(equal_pilots(4), [25.0, 25.0, 25.0, 200.0], there=[0, 2])
    assert (kinds.counts, kinds.item_of.tolist()) == ((2,), [0, -1, 0, -1])


def test_wishes_that_bind_a_rarer_kind_make_items_of_their_own():
    pilots = [*equal_pilots(8)]
    pilots[0] = replace(pilots[0], together=frozenset({"P01", "P06"}))
    pilots[4] = replace(pilots[4], apart=frozenset({"P05", "P02"}))
    kinds = by_radiation(pilots, [25.0] * 4 + [200.0] * 4)
    # Four weak of whom two fly with a loud one; four loud of whom two are apart and one flies with the weak.
    assert kinds.counts == (2, 1, 1, 1, 1)
    assert kinds.content[:2].tolist() == [[1, 0], [0, 1]]
    assert sorted(map(tuple, kinds.content[2:].tolist())) == [(0, 1), (0, 1), (2, 1)]
    assert kinds.item_of[0] == kinds.item_of[1] == kinds.item_of[6]
    assert kinds.never == ((min(kinds.item_of[[4, 5]]), max(kinds.item_of[[4, 5]])),)


def test_wishes_among_the_most_frequent_are_left_out():
    pilots = [*equal_pilots(3)]
    pilots[0] = replace(pilots[0], together=frozenset({"P01"}), apart=frozenset({"P02"}))
    assert by_radiation(pilots, [25.0] * 3).counts == (3,)


def test_too_many_kinds_are_drawn_together_by_level_as_the_weakest_that_hears_best():
    kinds = by_radiation(equal_pilots(6), [25.0, 25.0, 25.0, 100.0, 200.0, 600.0], most=6)
    assert kinds.counts == (3, 2, 1)
    own = kinds.gear
    # 100 and 200 mW: heard as 100, with the own carrier of 200.
    assert own.level_mw[0, 1] / own.level_mw[0, 0] == pytest.approx(4)
    assert own.wanted_mw[1] / own.wanted_mw[0] == pytest.approx(8)


def test_of_kinds_that_hear_otherwise_the_rarest_is_left_out():
    pilots = [*equal_pilots(4), Pilot("Wren", ALL_BANDS, antenna="lhcp", rx_antenna="lhcp")]
    kinds = by_radiation(pilots, [25.0] * 5, most=1)
    assert (kinds.counts, kinds.item_of.tolist()) == ((4,), [0, 0, 0, 0, -1])


def test_pilots_of_the_most_frequent_radiation_are_parted_by_their_channels():
    pilots = [
        *equal_pilots(3, tuned("R")),
        *(Pilot(f"Q{row}", tuned("F")) for row in range(2)),
        *equal_pilots(0),
    ]
    pilots.append(Pilot("Otter", tuned("R")))
    day = DayProblem(tuple(pilots))
    kinds = kinds_by_channels(day_gear(day, [25.0] * 5 + [200.0]), range(6), 1000)
    assert kinds.counts == (3, 2)
    assert kinds.item_of.tolist() == [0, 0, 0, 1, 1, -1]
    assert kinds.gear.usable.sum(axis=1).tolist() == [len(tuned("R")), len(tuned("F"))]
    one = kinds_by_channels(day_gear(day, [25.0] * 5 + [200.0]), range(6), 1)
    assert (one.counts, one.gear.usable.sum()) == ((5,), len({*tuned("R"), *tuned("F")}))


@pytest.mark.parametrize("composition", [(2, 0), (0, 2), (2, 1), (1, 2), (3, 1)])
def test_no_heat_is_better_than_its_ceiling_and_one_is_near_it(composition):
    kinds = by_radiation(equal_pilots(8), [25.0] * 4 + [100.0] * 4)
    kinds = replace(kinds, gear=kinds.gear._replace(mixing=kinds.gear.mixing / 100))
    (ceiling,) = ceilings_db(kinds.gear, np.array([composition]))
    best = best_worst_margin(heat_gear(kinds, composition), 100_000).worst_margin_db
    assert ceiling - 0.02 <= best <= ceiling


def test_products_lower_a_ceiling():
    gear = by_radiation(equal_pilots(8), [600.0] * 8).gear
    loud, carriers_only = (ceilings_db(one, np.array([[8]]))[0] for one in (gear, gear._replace(mixing=0.0)))
    assert carriers_only == pytest.approx(8.0 - 10 * math.log10(7))
    # 7 carriers make 7 * 6 products of two and 105 * ... of three, all at the floor: sums of powers say the same.
    level, found = float(gear.level_mw[0, 0]), 0.0
    for a in range(7):
        for b in range(7):
            found += (a != b) * level**3
            found += sum(4.0 * level**3 for c in range(7) if a < b and c not in (a, b))
    load = (7 * level + gear.mixing * found) * gear.protection[-1] / gear.wanted_mw[0]
    assert loud == pytest.approx(-10 * math.log10(load))
    assert loud < carriers_only


def test_alone_there_is_no_ceiling():
    gear = by_radiation(equal_pilots(2), [25.0, 200.0]).gear
    assert np.isinf(ceilings_db(gear, np.array([[1, 0], [0, 1], [0, 0]]))).all()
