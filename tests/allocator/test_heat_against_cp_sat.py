"""Stage 1 of middle-sized heats against a general constraint solver, within the rounding of its whole numbers.

The model of the solver is in ``tests/benchmarks/cp_sat_heat.py``; enumeration would need up to 10^8 assignments.
"""

import pytest

from server.allocator.heat import best_worst_margin
from tests.allocator import brute_force
from tests.allocator.mixes import equal_pilots, mix, usual_mhz
from tests.benchmarks import cp_sat_heat
from tests.radio.slow_model import place_of

HEATS = {
    "five of one gear, 30 channels, 200 mW": equal_pilots(5, usual_mhz()[4:34], 200),
    "five of one gear, 19 channels, 600 mW": equal_pilots(5, usual_mhz()[::2], 600),
    "five of mixed gear, up to 30 channels": mix(214, 5, 30),
    "five of mixed gear, up to 20 channels": mix(204, 5, 20),
    "six of one gear, 24 channels, 600 mW": equal_pilots(6, usual_mhz()[:24], 600),
}


@pytest.mark.parametrize("name", HEATS)
def test_best_worst_margin_is_that_of_a_general_solver(name):
    heat = HEATS[name]
    place = place_of(heat.problem.site)
    spacing_mhz = heat.problem.minimum_spacing_mhz
    solved = cp_sat_heat.best_worst_margin(heat.entries, place, spacing_mhz)
    assert solved.is_optimal
    lowest_db, highest_db = solved.margin_range_db
    assert highest_db - lowest_db < 0.01
    answer = best_worst_margin(heat.gear)
    assert answer.is_best_proved
    assert lowest_db - 1e-6 <= answer.best_margin_db <= highest_db + 1e-6
    # The channels that the solver chose are as good as it says.
    assert brute_force.facts_of(heat.entries, solved.mhz, place).best_worst_db >= lowest_db - 1e-6


def test_the_solver_says_where_nothing_keeps_the_spacing():
    heat = equal_pilots(3, (5800, 5810, 5820, 5839))
    solved = cp_sat_heat.best_worst_margin(heat.entries)
    assert (solved.is_optimal, solved.mhz) == (True, ())
    assert best_worst_margin(heat.gear).mhz == ()
