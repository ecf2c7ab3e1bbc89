"""The exact search on small heats, against looking at everything."""

import numpy as np
import pytest

from server.allocator import kernel, search
from server.allocator.kernel import CHOICE, STRESSED, WORST
from server.allocator.stack import new_stack
from tests.allocator import brute_force
from tests.allocator.mixes import equal_pilots, mix, usual_mhz
from tests.radio.slow_model import place_of

MANY_NODES = 10_000_000
BAND_R_MHZ = tuple(range(5658, 5918, 37))


def everything(heat):
    """(r, n) MHz of every assignment within the hard rules, with largest loads and stressed loads (r,)."""
    judged = brute_force.judge(heat.entries, place_of(heat.problem.site), heat.problem.minimum_spacing_mhz)
    return judged.mhz, 10 ** (-judged.margins.min(axis=1) / 10), 10 ** (-judged.stressed.min(axis=1) / 10)


def loads(gear, channel):
    load, stressed = np.empty(len(channel)), np.empty(len(channel))
    kernel.heat_loads(gear, np.arange(len(channel)), gear.mhz[channel], load, stressed)
    return load, stressed


def searched(gear, goal, limit=np.inf, stressed_limit=np.inf, chunk=MANY_NODES):
    stack = new_stack(gear)
    while not search.search(gear, stack, goal, limit, stressed_limit, chunk):
        pass
    return stack


MIXES = [mix(seed, 2 + seed % 2, 7) for seed in range(10)] + [mix(40 + seed, 4, 5) for seed in range(4)]
SMALL = [heat for heat in MIXES if len(everything(heat)[0])]


@pytest.mark.parametrize("heat", SMALL, ids=range(len(SMALL)))
def test_search_finds_the_least_largest_load(heat):
    _, load, _ = everything(heat)
    stack = searched(heat.gear, WORST)
    assert stack.value.tolist() == [pytest.approx(load.min()), 1.0]
    assert loads(heat.gear, stack.best)[0].max() == pytest.approx(load.min())


@pytest.mark.parametrize("heat", SMALL, ids=range(len(SMALL)))
def test_search_finds_the_least_stressed_load_within_a_limit(heat):
    _, load, stressed = everything(heat)
    limit = float(np.quantile(load, 0.3)) * (1 + 1e-9)
    stack = searched(heat.gear, STRESSED, limit)
    assert stack.value[0] == pytest.approx(stressed[load <= limit].min())
    assert loads(heat.gear, stack.best)[0].max() <= limit * (1 + 1e-9)


@pytest.mark.parametrize("heat", SMALL, ids=range(len(SMALL)))
def test_search_ends_without_an_answer_where_the_limits_leave_none(heat):
    _, load, stressed = everything(heat)
    for limits in ((load.min() * 0.999, np.inf), (np.inf, stressed.min() * 0.999)):
        stack = searched(heat.gear, WORST, *limits)
        assert stack.value[1] == 0
        assert stack.depth[0] == -1


@pytest.mark.parametrize("heat", SMALL, ids=range(len(SMALL)))
def test_search_in_chunks_of_one_node_comes_to_the_same_end(heat):
    for goal in (WORST, STRESSED, CHOICE):
        whole, stepwise = searched(heat.gear, goal), searched(heat.gear, goal, chunk=1)
        for name in ("best", "value", "nodes", "depth"):
            assert getattr(whole, name).tolist() == getattr(stepwise, name).tolist()


def test_search_of_a_heat_that_cannot_be_spaced_ends_without_an_answer():
    stack = searched(equal_pilots(2, (5800, 5810)).gear, WORST)
    assert (stack.value[1], stack.best.tolist()) == (0, [-1, -1])


def test_search_stops_after_its_nodes_and_says_so():
    gear = equal_pilots(5, usual_mhz()).gear
    stack = new_stack(gear)
    assert not search.search(gear, stack, WORST, np.inf, np.inf, 3)
    assert stack.nodes[0] == 3
    assert not search.search(gear, stack, WORST, np.inf, np.inf, 4)
    assert stack.nodes[0] == 7


def test_bound_of_the_root_is_never_above_the_least_load():
    for heat in SMALL:
        bound = search.root_bound(heat.gear, new_stack(heat.gear))
        assert 0 < bound <= everything(heat)[1].min() * (1 + 1e-9)


def test_bound_of_the_root_is_the_site_ceiling_of_equal_gear_less_products():
    # Four carriers past the floor: each receiver hears three at -28 dB, 20 dB above its own.
    gear = equal_pilots(4, usual_mhz(), 25).gear
    bound = search.root_bound(gear, new_stack(gear))
    assert -10 * np.log10(bound) == pytest.approx(3.23, abs=0.01)


@pytest.mark.parametrize(
    ("heat", "most_nodes", "most_nodes_of_the_choice"),
    [
        (equal_pilots(2, usual_mhz()), 2, 39),
        (equal_pilots(3, BAND_R_MHZ), 3, 37),
        (equal_pilots(4, BAND_R_MHZ), 52, 93),
        (mix(2, 4, 8), 44, 21),
        (mix(9, 5, 8), 76, 26),
    ],
)
def test_bounds_keep_the_tree_small(heat, most_nodes, most_nodes_of_the_choice):
    nodes = {goal: int(searched(heat.gear, goal).nodes[0]) for goal in (WORST, STRESSED, CHOICE)}
    assert max(nodes[WORST], nodes[STRESSED]) <= most_nodes
    assert nodes[CHOICE] <= most_nodes_of_the_choice
