"""One node of the search: its sums, its bounds, whom it asks next, and what it leaves out.

The bounds are rebuilt here from the levels and protection ratios of ``tests.radio.slow_model``: whatever is
not placed yet is heard at the floor of the protection ratio.
"""

import itertools

import numpy as np
import pytest

from server.allocator import choice, narrowing, search
from server.allocator.kernel import CHOICE, STRESS_FACTOR, STRESSED, WORST
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.allocator.stack import new_stack
from server.radio.site import Site
from tests.allocator import brute_force
from tests.allocator.called import called
from tests.allocator.mixes import equal_pilots, mix
from tests.radio import slow_model
from tests.radio.slow_model import place_of

descend_to, drop_mirrored, open_node = (
    called(part) for part in (search._descend_to, search._drop_mirrored, search._open)
)
key_of, margin_tenths, sort_few = (
    called(part) for part in (choice.key_of, choice.margin_tenths, choice.sort_few)
)
narrow, products_of = called(narrowing.narrow), called(narrowing._products_of)

BAND_R_MHZ = tuple(range(5658, 5918, 37))


def index(gear, mhz):
    return int(np.searchsorted(gear.mhz, mhz))


def node(gear, placed):
    """A search with these pilots placed, in this order: {pilot: MHz}."""
    stack = new_stack(gear)
    for depth, (pilot, mhz) in enumerate(placed.items()):
        stack.sums.pilot[depth] = pilot
        descend_to(gear, stack, depth, index(gear, mhz))
    return stack


def sums(heat, listener, at_mhz, carriers_at, products_at):
    """Carriers and products over the wanted carrier at one receiver, unknown places at the floor."""
    place = place_of(heat.problem.site)
    wanted = slow_model.wanted_dbm(heat.entries[listener].on(0), place)
    carriers = products = 0.0
    levels = brute_force.heard_levels_dbm(heat.entries, listener, place)
    for of, level_dbm in brute_force.heard_terms(levels, listener, place):
        known = carriers_at if len(of) == 1 else products_at
        needed = place.pr_floor_db
        if all(pilot in known for pilot, _ in of):
            offset = sum(sign * known[pilot] for pilot, sign in of) - at_mhz
            needed = slow_model.needed_db(offset, place.pr_floor_db)
        load = 10 ** ((level_dbm + needed - wanted) / 10)
        if len(of) == 1:
            carriers += load
        else:
            products += load
    return np.array([carriers + products, carriers + 100 * products])


def nodes_of(seed):
    """A mix with one to three of its pilots placed on channels that keep the spacing."""
    heat = mix(seed, 3 + seed % 3, 9)
    rows = brute_force.assignments(heat.entries, heat.problem.minimum_spacing_mhz)
    if not len(rows):
        return None
    row = rows[len(rows) // 2]
    order = [(seed + x) % len(row) for x in range(1 + seed % (len(row) - 1))]
    return heat, {pilot: int(row[pilot]) for pilot in order}


NODES = [found for found in map(nodes_of, range(40)) if found]


# Sums


@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_sums_of_placed_receivers_are_those_of_the_slow_model(heat, placed):
    gear, depth = heat.gear, len(placed)
    stack = node(gear, placed)
    up = [heat.entries[pilot].on(mhz) for pilot, mhz in placed.items()]
    place = place_of(heat.problem.site)
    for pilot, one in zip(placed, up, strict=True):
        terms = slow_model.terms(one, up, place)
        carriers, products = (
            sum(10 ** (-term.margin_db / 10) for term in terms if (len(term.of) == 1) is is_carrier)
            for is_carrier in (True, False)
        )
        assert stack.sums.own_carriers[depth, pilot] / gear.wanted_mw[pilot] == pytest.approx(carriers)
        assert stack.sums.own_products[depth, pilot] / gear.wanted_mw[pilot] == pytest.approx(products)


@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_sums_on_channels_are_what_a_pilot_to_come_would_hear(heat, placed):
    gear, depth = heat.gear, len(placed)
    stack = node(gear, placed)
    up = [heat.entries[pilot].on(mhz) for pilot, mhz in placed.items()]
    for later in set(range(len(heat.entries))) - set(placed):
        for f in np.flatnonzero(gear.usable[later]):
            listener = heat.entries[later].on(int(gear.mhz[f]))
            margin_db = slow_model.margin_db(listener, up, place_of(heat.problem.site))
            heard = (
                stack.sums.carriers[depth, gear.sense[later], f]
                + stack.sums.products[depth, gear.sense[later], f]
            )
            assert heard / gear.wanted_mw[later] == pytest.approx(10 ** (-margin_db / 10))


# Bounds


def narrowed(heat, placed, limit, stressed_limit):
    """What ``_narrow`` must leave: live channels of each pilot to come, and the two bounds."""
    spacing_mhz = heat.problem.minimum_spacing_mhz
    limits = np.array([limit, stressed_limit])
    alone = {x: sums(heat, x, placed[x], placed, placed) for x in placed}
    extra = {x: np.zeros(2) for x in placed}
    bound = np.zeros(2)
    live = {}
    for later in set(range(len(heat.entries))) - set(placed):
        own, at = {}, {}
        for f in heat.entries[later].choices_mhz:
            own[f] = sums(heat, later, f, placed, placed)
            at[f] = {x: sums(heat, x, placed[x], {**placed, later: f}, {**placed, later: f}) for x in placed}
        live[later] = [
            f
            for f in sorted(own)
            if all(abs(f - mhz) >= spacing_mhz for mhz in placed.values())
            and all((load <= limits).all() for load in [own[f], *at[f].values()])
        ]
        if not live[later]:
            return live, None
        bound = np.maximum(bound, np.min([own[f] for f in live[later]], axis=0))
        for x in placed:
            extra[x] = extra[x] + np.min([at[f][x] - alone[x] for f in live[later]], axis=0)
    for x in placed:
        bound = np.maximum(bound, alone[x] + extra[x])
    return live, bound


def tight_limits(heat, tightness):
    """Loads that this share of all assignments stays below, and all assignments with their loads."""
    judged = brute_force.judge(heat.entries, place_of(heat.problem.site), heat.problem.minimum_spacing_mhz)
    load = 10 ** (-judged.margins.min(axis=1) / 10)
    stressed = 10 ** (-judged.stressed.min(axis=1) / 10)
    # A hair above a load that occurs, so that rounding does not decide.
    limits = np.quantile(load, tightness) * (1 + 1e-7), np.quantile(stressed, tightness) * (1 + 1e-7)
    return limits, judged.mhz, load, stressed


@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_narrowing_without_limits_takes_what_is_too_near_and_bounds_what_follows(heat, placed):
    stack = node(heat.gear, placed)
    live, bound = narrowed(heat, placed, np.inf, np.inf)
    found = narrow(heat.gear, stack, len(placed), np.inf, np.inf)
    if bound is None:
        assert found[0] == np.inf
        return
    assert found == pytest.approx(bound.tolist())
    for later, mhz in live.items():
        assert heat.gear.mhz[stack.live[len(placed), later]].tolist() == mhz


@pytest.mark.parametrize("tightness", [0.7, 0.3, 0.05])
@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_narrowing_takes_at_least_what_passes_the_limits_with_the_rest_at_the_floor(heat, placed, tightness):
    limits, *_ = tight_limits(heat, tightness)
    stack = node(heat.gear, placed)
    live, bound = narrowed(heat, placed, *limits)
    found = narrow(heat.gear, stack, len(placed), *limits)
    if bound is None:
        assert found[0] == np.inf
    if found[0] == np.inf:
        return
    assert (np.array(found) >= bound * (1 - 1e-6)).all()
    for later, mhz in live.items():
        kept = heat.gear.mhz[stack.live[len(placed), later]].tolist()
        assert kept == mhz if len(live) == 1 else set(kept) <= set(mhz)


@pytest.mark.parametrize("tightness", [0.7, 0.3, 0.05])
@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_narrowing_keeps_every_channel_of_an_assignment_within_the_limits(heat, placed, tightness):
    limits, mhz, load, stressed = tight_limits(heat, tightness)
    is_within = (load <= limits[0]) & (stressed <= limits[1])
    for pilot, at_mhz in placed.items():
        is_within &= mhz[:, pilot] == at_mhz
    stack = node(heat.gear, placed)
    found = narrow(heat.gear, stack, len(placed), *limits)
    if not is_within.any():
        return
    assert found[0] <= load[is_within].min() * (1 + 1e-9)
    assert found[1] <= stressed[is_within].min() * (1 + 1e-9)
    for later in set(range(len(heat.entries))) - set(placed):
        kept = set(heat.gear.mhz[stack.live[len(placed), later]].tolist())
        assert set(mhz[is_within, later].tolist()) <= kept


def test_a_bound_counts_the_least_harm_of_every_pilot_to_come():
    # Two strong transmitters have to come within 30 MHz of a weak one, whichever channel they take.
    weak = Pilot("Wren", (5806,))
    strong = (Pilot("Otter", (5771, 5776)), Pilot("Coot", (5836, 5838)))
    gear = day_gear(DayProblem((weak, *strong), one_heat=True, site=Site()), (25, 600, 600))
    found = narrow(gear, node(gear, {0: 5806}), 1, np.inf, np.inf)
    apart_db = 10 * np.log10(600 / 25) + 20  # stronger, and ten times nearer
    otter, coot = (10 ** ((apart_db + slow_model.needed_db(x, -28)) / 10) for x in (35, 32))
    assert found[0] == pytest.approx(otter + coot, rel=1e-4)
    assert found[0] < found[1] < found[0] * 1.001


@pytest.mark.parametrize(("heat", "placed"), NODES)
def test_a_bound_is_no_higher_than_the_best_that_follows(heat, placed):
    gear = heat.gear
    found = narrow(gear, node(gear, placed), len(placed), np.inf, np.inf)
    judged = brute_force.judge(heat.entries, place_of(heat.problem.site), gear.spacing_mhz)
    follows = np.all([judged.mhz[:, pilot] == mhz for pilot, mhz in placed.items()], axis=0)
    best = 10 ** (-judged.margins[follows].min(axis=1).max() / 10)
    best_stressed = 10 ** (-judged.stressed[follows].min(axis=1).max() / 10)
    assert found[0] <= best * (1 + 1e-9)
    assert found[1] <= best_stressed * (1 + 1e-9)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_products_to_come_are_all_that_are_not_made_yet(count):
    heat = mix(4, 5, 8)
    gear, everybody, who = heat.gear, np.arange(5), np.arange(count)
    level = gear.level_mw[0]
    for without in range(5):
        others = [x for x in range(5) if x != without]
        products = [(a, a, c) for a, c in itertools.permutations(others, 2)] + [
            (a, b, c) for a, b in itertools.combinations(others, 2) for c in others if c not in (a, b)
        ]
        missing = sum(
            level[a] * level[b] * level[c] * (1 if a == b else 4)
            for a, b, c in products
            if not {a, b, c} <= set(range(count))
        )
        inside = level[without] if without in who else 0.0
        made = products_of(level, who, inside, 0.0)
        assert products_of(level, everybody, level[without], 0.0) - made == pytest.approx(
            missing, rel=1e-6, abs=1e-30
        )


def test_one_carrier_more_makes_the_products_of_all_of_them():
    level = np.array([3.0, 1.0, 0.5, 2.0])
    assert products_of(level, np.arange(3), 0.0, level[3]) == pytest.approx(
        products_of(level, np.arange(4), 0.0, 0.0)
    )


# Who is asked next, and in which order


def opened(gear, placed, goal):
    stack = node(gear, placed)
    depth = len(placed)
    open_node(gear, stack, depth, goal)
    assert stack.tried[depth] == 0
    return stack.sums.pilot[depth], gear.mhz[stack.option[depth, : stack.options[depth]]].tolist()


def test_the_pilot_with_the_fewest_channels_left_is_next():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", (5658, 5732)), Pilot("Coot", (5695, 5806, 5880)))
    gear = day_gear(DayProblem(pilots, one_heat=True), (25, 25, 25))
    assert opened(gear, {}, WORST) == (1, [5658, 5732])
    assert opened(gear, {1: 5658}, WORST)[0] == 2
    assert opened(gear, {1: 5658, 2: 5880}, WORST)[0] == 0


def test_a_pilot_who_was_often_left_without_a_channel_is_next():
    gear = equal_pilots(3, BAND_R_MHZ).gear
    stack = node(gear, {})
    stack.weight[2] = 2.0
    open_node(gear, stack, 0, WORST)
    assert stack.sums.pilot[0] == 2


def test_a_pilot_left_without_a_channel_is_remembered():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", (5658, 5668)), Pilot("Coot", BAND_R_MHZ))
    gear = day_gear(DayProblem(pilots, one_heat=True), (25, 25, 25))
    stack = node(gear, {0: 5658})
    assert narrow(gear, stack, 1, np.inf, np.inf)[0] == np.inf
    assert stack.weight.tolist() == [1.0, 2.0, 1.0]


def test_of_two_with_as_few_channels_the_first_is_next():
    assert opened(equal_pilots(3, BAND_R_MHZ).gear, {}, WORST)[0] == 0


@pytest.mark.parametrize(("goal", "power_mw"), [(WORST, 25), (WORST, 600), (STRESSED, 200), (CHOICE, 200)])
def test_the_least_loaded_channel_is_tried_first(goal, power_mw):
    heat = equal_pilots(4, BAND_R_MHZ, power_mw)
    placed = {0: 5658, 1: 5732, 2: 5843}
    _, tried = opened(heat.gear, placed, goal)
    which = 0 if goal == WORST else 1
    load = [sums(heat, 3, mhz, placed, placed)[which] for mhz in tried]
    assert sorted(tried) == [5695, 5769, 5806, 5880, 5917]  # the others are too near
    assert (np.diff(load) >= -1e-9 * np.array(load[1:])).all()


def test_the_choice_tries_the_current_channel_first_and_then_the_days_set():
    pilots = (Pilot("Wren", BAND_R_MHZ, current_mhz=5658), Pilot("Otter", BAND_R_MHZ, current_mhz=5695))
    gear = day_gear(DayProblem(pilots, one_heat=True, day_channels=(5880, 5917)), (25, 25))
    assert opened(gear, {}, CHOICE) == (0, [5658, 5880, 5917, 5695, 5732, 5769, 5806, 5843])
    assert opened(gear, {0: 5658}, CHOICE)[1][:3] == [5695, 5880, 5917]
    assert opened(gear, {}, WORST)[1] == list(BAND_R_MHZ)


# The order of preference


def key(gear, placed):
    return key_of(gear, node(gear, placed), len(placed))


def day(*pilots, day_channels=(5658, 5732, 5880)):
    return day_gear(DayProblem(pilots, one_heat=True, day_channels=day_channels), (25,) * len(pilots))


def test_a_change_weighs_more_than_all_channels_outside_and_these_more_than_any_spacing():
    moved = day(*(Pilot(name, BAND_R_MHZ, current_mhz=5658) for name in "ABCDEFGHIJKL"))
    nobody = {0: 5658, 1: 5658}
    one_moved = {0: 5658, 1: 5732}
    assert key(moved, one_moved) - key(moved, nobody) > 900_000_000
    assert 1_000_000_000 > 12 * 1_000_000 + 100_000
    assert 1_000_000 > 100_000


@pytest.mark.parametrize(
    ("placed", "changes", "outside", "closest_mhz"),
    [
        ({0: 5658, 1: 5880, 2: 5732}, 0, 0, 74),
        ({0: 5695, 1: 5880, 2: 5732}, 1, 1, 37),
        ({0: 5695, 1: 5917, 2: 5806}, 2, 3, 111),
        ({0: 5658, 1: 5732, 2: 5843}, 1, 1, 74),
        ({2: 5843, 1: 5732, 0: 5658}, 1, 1, 74),
    ],
)
def test_key_of_a_whole_assignment(placed, changes, outside, closest_mhz):
    gear = day(
        Pilot("Wren", BAND_R_MHZ, current_mhz=5658),
        Pilot("Otter", BAND_R_MHZ, current_mhz=5880),
        Pilot("Coot", BAND_R_MHZ),
    )
    assert key(gear, placed) == changes * 1_000_000_000 + outside * 1_000_000 + 100_000 - closest_mhz


def test_key_of_a_part_adds_what_pilots_to_come_cannot_avoid():
    gear = day(
        Pilot("Wren", BAND_R_MHZ),
        Pilot("Otter", (5658, 5769), current_mhz=5658),
        Pilot("Coot", (5732, 5806), current_mhz=5732),
    )
    stack = node(gear, {0: 5880})
    assert key_of(gear, stack, 1) == 0
    stack.live[1, 1, index(gear, 5658)] = False  # Otter has to move, to a channel outside the set
    assert key_of(gear, stack, 1) == 1_001_000_000
    stack.live[1, 2, index(gear, 5732)] = False
    assert key_of(gear, stack, 1) == 2_002_000_000


def test_key_of_a_part_asks_nothing_of_a_pilot_without_a_current_channel():
    gear = day(Pilot("Wren", BAND_R_MHZ), Pilot("Otter", BAND_R_MHZ))
    stack = node(gear, {0: 5880})
    stack.live[1, 1, -1] = False
    assert key_of(gear, stack, 1) == 0


def test_margins_are_rounded_to_tenths_and_stand_from_the_worst():
    heat = equal_pilots(3, BAND_R_MHZ, 600)
    placed = {0: 5658, 1: 5695, 2: 5880}
    found = margin_tenths(heat.gear, node(heat.gear, placed).sums).tolist()
    assert found == list(brute_force.facts_of(heat.entries, tuple(placed.values())).tenths)
    assert found == sorted(found)
    assert len(set(found)) > 1


def test_a_few_values_are_sorted_with_their_companions_and_equal_ones_stay_in_order():
    values, companions = np.array([3.0, 1.0, 2.0, 1.0, 0.5]), np.array([30, 10, 20, 11, 5])
    sort_few(values, companions)
    assert values.tolist() == [0.5, 1.0, 1.0, 2.0, 3.0]
    assert companions.tolist() == [5, 10, 11, 20, 30]


# What equal gear would only repeat


def dropped(gear, f_mhz, tried_mhz):
    """Channels taken from pilot 1 once pilot 0 has tried some and stands on another."""
    stack = node(gear, {0: f_mhz})
    stack.live[1] = gear.usable  # also those that the spacing takes
    for x, mhz in enumerate(tried_mhz):
        stack.option[0, x] = index(gear, mhz)
    drop_mirrored(gear, stack, 0, index(gear, f_mhz), len(tried_mhz))
    return sorted(set(gear.mhz[gear.usable[1]].tolist()) - set(gear.mhz[stack.live[1, 1]].tolist()))


def test_equal_gear_leaves_out_the_exchange_of_names():
    assert dropped(equal_pilots(2, BAND_R_MHZ).gear, 5732, (5658, 5695)) == [5658, 5695]
    assert dropped(equal_pilots(2, BAND_R_MHZ).gear, 5732, ()) == []


def test_unequal_gear_leaves_nothing_out():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", BAND_R_MHZ))
    gear = day_gear(DayProblem(pilots, one_heat=True), (25, 200))
    assert dropped(gear, 5732, (5658, 5695)) == []


def test_nothing_is_left_out_where_the_other_cannot_use_the_channel():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", (5658, 5695, 5917)))
    gear = day_gear(DayProblem(pilots, one_heat=True), (25, 25))
    assert dropped(gear, 5732, (5658, 5695)) == []
    assert dropped(gear, 5917, (5658, 5695)) == [5658, 5695]


@pytest.mark.parametrize(
    ("current_mhz", "left_out"),
    [
        ((5732, None), []),  # the exchange would move Wren
        ((5658, None), [5658, 5695]),  # Wren has moved anyway
        ((None, 5658), [5695]),  # the exchange would move Otter off 5658
        ((None, 5732), [5658, 5695]),  # the exchange would bring Otter home
        ((5732, 5732), [5658, 5695]),  # one of them moves either way
    ],
)
def test_an_exchange_that_moves_more_pilots_is_not_a_repetition(current_mhz, left_out):
    pilots = tuple(
        Pilot(name, BAND_R_MHZ, current_mhz=mhz)
        for name, mhz in zip(("Wren", "Otter"), current_mhz, strict=True)
    )
    gear = day_gear(DayProblem(pilots, one_heat=True), (25, 25))
    assert dropped(gear, 5732, (5658, 5695)) == left_out


# Shapes


def test_a_new_search_has_nobody_placed_and_everything_usable_live():
    gear = mix(7, 4, 8).gear
    n, m, s = 4, len(gear.mhz), len(gear.level_mw)
    stack = new_stack(gear)
    assert stack.sums.carriers.shape == stack.sums.products.shape == (n, s, m)
    assert stack.sums.own_carriers.shape == stack.sums.own_products.shape == (n + 1, n)
    assert stack.live.shape == (n, n, m)
    assert stack.live[0].tolist() == gear.usable.tolist()
    assert stack.value.tolist() == [np.inf, 0.0]
    assert stack.sums.channel.tolist() == stack.best.tolist() == stack.options.tolist() == [-1] * n
    assert (stack.depth.tolist(), stack.nodes.tolist()) == ([0], [0])


def test_stress_is_10_db_of_intercept_point():
    assert STRESS_FACTOR == 10 ** (2 * 10 / 10)
