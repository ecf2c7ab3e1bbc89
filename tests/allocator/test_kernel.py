"""The compiled core on small heats: sums against the slow model, searches against looking at everything."""

import itertools

import numpy as np
import pytest

from server.allocator import kernel
from server.allocator.kernel import BROKEN, CHOICE, STRESSED, WORST
from tests.allocator import brute_force
from tests.allocator.mixes import equal_pilots, mix, usual_mhz
from tests.radio import slow_model
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
    stack = kernel.new_stack(gear)
    while not kernel.search(gear, stack, goal, limit, stressed_limit, chunk):
        pass
    return stack


MIXES = [mix(seed, 2 + seed % 2, 7) for seed in range(10)] + [mix(40 + seed, 4, 5) for seed in range(4)]
SMALL = [heat for heat in MIXES if len(everything(heat)[0])]


# Sums


@pytest.mark.parametrize("seed", range(10))
def test_loads_are_those_of_the_slow_model(seed):
    heat = mix(seed, 1 + seed % 5, 8)
    place = place_of(heat.problem.site)
    lower = place._replace(iip3_dbm=place.iip3_dbm - 10)
    members = np.arange(len(heat.entries))
    mhz = np.array(usual_mhz()[seed::7][: len(members)])
    load, stressed = np.empty(len(members)), np.empty(len(members))
    kernel.heat_loads(heat.gear, members, mhz, load, stressed)
    up = [entry.on(int(f)) for entry, f in zip(heat.entries, mhz, strict=True)]
    for x, one in enumerate(up):
        assert load[x] == pytest.approx(10 ** (-slow_model.margin_db(one, up, place) / 10))
        assert stressed[x] == pytest.approx(10 ** (-slow_model.margin_db(one, up, lower) / 10))


def test_loads_do_not_depend_on_the_order_of_the_pilots():
    gear = mix(4, 5, 8).gear
    members, mhz = np.arange(5), np.array([5658, 5695, 5752, 5843, 5905])
    load, stressed, turned, turned_stressed = (np.empty(5) for _ in range(4))
    kernel.heat_loads(gear, members, mhz, load, stressed)
    order = np.array([3, 0, 4, 2, 1])
    kernel.heat_loads(gear, members[order], mhz[order], turned, turned_stressed)
    assert turned == pytest.approx(load[order])
    assert turned_stressed == pytest.approx(stressed[order])


# Searches


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
    stack = kernel.new_stack(gear)
    assert not kernel.search(gear, stack, WORST, np.inf, np.inf, 3)
    assert stack.nodes[0] == 3
    assert not kernel.search(gear, stack, WORST, np.inf, np.inf, 4)
    assert stack.nodes[0] == 7


def test_bound_of_the_root_is_never_above_the_least_load():
    for heat in SMALL:
        bound = kernel.root_bound(heat.gear, kernel.new_stack(heat.gear))
        assert 0 < bound <= everything(heat)[1].min() * (1 + 1e-9)


def test_bound_of_the_root_is_the_site_ceiling_of_equal_gear_less_products():
    # Four carriers past the floor: each receiver hears three at -28 dB, 20 dB above its own.
    gear = equal_pilots(4, usual_mhz(), 25).gear
    bound = kernel.root_bound(gear, kernel.new_stack(gear))
    assert -10 * np.log10(bound) == pytest.approx(3.23, abs=0.01)


@pytest.mark.parametrize(
    ("heat", "most_nodes", "most_nodes_of_the_choice"),
    [
        (equal_pilots(2, usual_mhz()), 2, 39),
        (equal_pilots(3, BAND_R_MHZ), 3, 37),
        (equal_pilots(4, BAND_R_MHZ), 50, 93),
        (mix(2, 4, 8), 44, 20),
        (mix(9, 5, 8), 70, 26),
    ],
)
def test_bounds_keep_the_tree_small(heat, most_nodes, most_nodes_of_the_choice):
    nodes = {goal: int(searched(heat.gear, goal).nodes[0]) for goal in (WORST, STRESSED, CHOICE)}
    assert max(nodes[WORST], nodes[STRESSED]) <= most_nodes
    assert nodes[CHOICE] <= most_nodes_of_the_choice


# Descent


@pytest.mark.parametrize("heat", SMALL, ids=range(len(SMALL)))
def test_descent_ends_where_no_single_move_helps(heat):
    gear = heat.gear
    starts = np.array([[np.flatnonzero(own)[0] for own in gear.usable]])
    answer = starts[0].copy()
    value = kernel.descend(gear, starts, WORST, np.inf, answer)
    assert value == pytest.approx(loads(gear, answer)[0].max())
    for pilot, f in itertools.product(range(len(answer)), range(len(gear.mhz))):
        moved = answer.copy()
        moved[pilot] = f
        spaced = np.abs(np.subtract.outer(gear.mhz[moved], gear.mhz[moved]))[~np.eye(len(moved), dtype=bool)]
        if gear.usable[pilot, f] and (spaced >= gear.spacing_mhz).all():
            assert loads(gear, moved)[0].max() >= value * (1 - 1e-8)


def test_descent_keeps_the_best_of_its_starts():
    gear = equal_pilots(3, usual_mhz()).gear
    starts = np.random.default_rng(1).integers(0, len(gear.mhz), (8, 3))
    ends = [
        kernel.descend(gear, starts[row : row + 1], WORST, np.inf, np.empty(3, dtype=np.int64))
        for row in range(8)
    ]
    answer = np.empty(3, dtype=np.int64)
    assert kernel.descend(gear, starts, WORST, np.inf, answer) == min(ends)
    assert loads(gear, answer)[0].max() == pytest.approx(min(ends))


def test_descent_of_the_stressed_load_stays_within_the_limit():
    gear = mix(8, 4, 10).gear
    starts = np.array([[np.flatnonzero(own)[0] for own in gear.usable]])
    answer = np.empty(4, dtype=np.int64)
    least = kernel.descend(gear, starts, WORST, np.inf, answer)
    limit = least * 1.2
    stressed = kernel.descend(gear, answer[np.newaxis].copy(), STRESSED, limit, answer)
    assert stressed < BROKEN
    load, stressed_load = loads(gear, answer)
    assert load.max() <= limit
    assert stressed_load.max() == pytest.approx(stressed)


def test_descent_says_where_rules_stay_broken():
    gear = equal_pilots(2, (5800, 5810)).gear
    answer = np.empty(2, dtype=np.int64)
    assert kernel.descend(gear, np.array([[0, 1]]), WORST, np.inf, answer) >= BROKEN


def test_descent_takes_the_least_spacing_for_enough():
    gear = equal_pilots(2, (5800, 5820)).gear
    answer = np.empty(2, dtype=np.int64)
    assert kernel.descend(gear, np.array([[0, 0]]), WORST, np.inf, answer) < BROKEN
    assert sorted(answer.tolist()) == [0, 1]


def test_descent_of_the_stressed_load_leaves_broken_rules_behind():
    gear = equal_pilots(3, BAND_R_MHZ).gear
    answer = np.empty(3, dtype=np.int64)
    limit = loads(gear, np.array([0, 3, 7]))[0].max() * 1.01
    stressed = kernel.descend(gear, np.array([[4, 4, 4]]), STRESSED, limit, answer)
    assert stressed < BROKEN
    load, stressed_load = loads(gear, answer)
    assert load.max() <= limit
    assert stressed_load.max() == pytest.approx(stressed)


def test_descent_beyond_the_limit_counts_as_broken():
    gear = equal_pilots(2, (5800, 5820)).gear
    answer = np.empty(2, dtype=np.int64)
    limit = loads(gear, np.array([0, 1]))[0].max()
    starts = np.array([[0, 1]])
    assert kernel.descend(gear, starts, STRESSED, limit * 1.001, answer) < BROKEN
    assert kernel.descend(gear, starts, STRESSED, limit * 0.999, answer) >= BROKEN
