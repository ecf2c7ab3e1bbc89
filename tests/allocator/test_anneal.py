"""The local search over one round: its energy written a second time, and what it never gives up.

Also run without compilation by the mutation tool, so the rounds are small and the walks short.
"""

import itertools
import math
from collections import Counter

import numpy as np
import pytest

from server.allocator import anneal
from server.allocator.anneal import Round, improve
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from tests.allocator.called import called
from tests.radio import slow_model
from tests.radio.slow_model import Flyer, Place

next_number, pick = called(anneal._next), called(anneal._pick)

MHZ = (5658, 5675, 5700, 5740, 5790, 5843)
POWERS_MW = (25.0, 25.0, 200.0, 25.0, 100.0, 25.0)
FREE = {"target_load": 0.0, "repeat_price": 0.0, "channel_price": 0.0}


def random_state(seed=1):
    return np.array([np.uint64(0x9E3779B97F4A7C15 + seed)], dtype=np.uint64)


def gear_of_some(count=5, spacing_mhz=20):
    pilots = tuple(
        Pilot(f"P{row}", MHZ, antenna="lhcp" if row == 1 else "rhcp", rx_antenna="rhcp")
        for row in range(count)
    )
    return day_gear(DayProblem(pilots, minimum_spacing_mhz=spacing_mhz), POWERS_MW[:count])


def rules_of(count=5, heats=2, **changes):
    none = np.zeros((count, count), dtype=np.bool_)
    given = {
        "takes_part": np.ones(count, dtype=np.bool_),
        "allowed": np.ones((count, heats), dtype=np.bool_),
        "apart": none,
        "together": none,
        "kind": np.full(count, -1, dtype=np.int64),
        "met": none.astype(np.int64),
        "usable": np.ones((count, len(MHZ)), dtype=np.bool_),
        "current": np.full(count, -1, dtype=np.int64),
        "most_changes": count,
        "smallest": count // heats,
        "largest": -(-count // heats),
        "capacity": count,
        "can_retune": True,
        **FREE,
        "channel_price": 0.02,
        **changes,
    }
    return Round(**given)


def pairs_of(count, *pairs):
    table = np.zeros((count, count), dtype=np.bool_)
    for x, y in pairs:
        table[x, y] = table[y, x] = True
    return table


def energy_of(gear, rules, heats, heat_of, channel):
    """The energy in plain Python: rules one by one, margins of the slow model."""
    broken = unequal = again = 0.0
    loads = []
    for heat in range(heats):
        members = [pilot for pilot in range(len(heat_of)) if heat_of[pilot] == heat]
        broken += max(0, len(members) - rules.capacity)
        unequal += max(0, len(members) - rules.largest, rules.smallest - len(members))
        broken += sum(not rules.allowed[pilot, heat] for pilot in members)
        for x, y in itertools.combinations(members, 2):
            broken += rules.apart[x, y]
            broken += abs(MHZ[channel[x]] - MHZ[channel[y]]) < gear.spacing_mhz
            again += rules.met[x, y] > 0
        loads.append(worst_load(members, channel))
    for x, y in itertools.combinations(range(len(heat_of)), 2):
        broken += rules.together[x, y] and min(heat_of[x], heat_of[y]) >= 0 and heat_of[x] != heat_of[y]
    changes = sum(now not in (-1, own) for now, own in zip(rules.current, channel, strict=True))
    broken += max(0, changes - rules.most_changes)
    in_use = len({own for own, heat in zip(channel, heat_of, strict=True) if heat >= 0})
    if rules.target_load > 0:
        short = [10 * math.log10(load / rules.target_load) for load in loads if load > rules.target_load]
        price = sum(20 + 3 * lacking for lacking in short)
    else:
        price = 10 * math.log10(1e-60 + sum(load**4 for load in loads)) / 4
    return 1000 * broken + 40 * unequal + price + rules.repeat_price * again + rules.channel_price * in_use


def worst_load(members, channel):
    heat = [
        Flyer(str(row), MHZ[channel[row]], POWERS_MW[row], "lhcp" if row == 1 else "rhcp") for row in members
    ]
    if len(heat) < 2:
        return 0.0
    return max(10 ** (-slow_model.margin_db(one, heat, Place()) / 10) for one in heat)


def walk(rules, heat_of, channel, steps, gear=None, seed=1, from_db=3.0, to_db=0.02, heats=2):
    """Heats, channels and the energy that is claimed for them."""
    heat_of, channel = np.array(heat_of), np.array(channel)
    gear = gear or gear_of_some(len(heat_of))
    energy = improve(gear, rules, heats, heat_of, channel, steps, from_db, to_db, random_state(seed))
    return heat_of.tolist(), channel.tolist(), float(energy)


SOUND = ([0, 1, 0, 1, 0], [0, 0, 3, 4, 5])
CLOSE = ([0, 0, 0, 1, 1], [0, 1, 1, 4, 4])


@pytest.mark.parametrize(
    "start", [SOUND, CLOSE, ([0, -1, 0, 1, -1], [0, 2, 3, 3, 5]), ([1] * 5, [0, 2, 3, 4, 5])]
)
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"target_load": 0.4},
        {"target_load": 1e9},
        {"repeat_price": 0.05, "met": 2 * pairs_of(5, (0, 2), (1, 3), (3, 4))},
        {"channel_price": 1.0},
        {"apart": pairs_of(5, (0, 2), (3, 4))},
        {"together": pairs_of(5, (0, 1), (0, 3), (1, 3), (2, 4))},
        {"allowed": np.array([[0, 1], [1, 1], [1, 0], [1, 0], [1, 1]], dtype=np.bool_)},
        {"capacity": 2},
        {"smallest": 2, "largest": 2},
        {"current": np.array([1, 0, -1, 5, 2]), "most_changes": 1},
        {"current": np.array([0, 0, 3, 4, 4]), "most_changes": 2},
    ],
    ids=lambda changes: "+".join(changes) or "plain",
)
def test_energy_is_that_of_the_rules_and_margins_looked_at_one_by_one(changes, start):
    rules = rules_of(**changes)
    heat_of, channel, energy = walk(rules, *start, steps=0)
    assert (heat_of, channel) == start
    assert energy == pytest.approx(energy_of(gear_of_some(), rules, 2, *start), abs=1e-6)


@pytest.mark.parametrize(
    ("changes", "start", "broken"),
    [
        ({}, SOUND, 0),
        ({}, CLOSE, 4),  # P1 and P2 on one channel, both 17 MHz from P0; P3 and P4 on one channel
        ({"apart": pairs_of(5, (0, 2), (3, 4))}, SOUND, 1),
        ({"together": pairs_of(5, (0, 1), (0, 3), (1, 3))}, SOUND, 2),
        ({"capacity": 2}, SOUND, 1),
        ({"current": np.array([1, 0, -1, 5, 2]), "most_changes": 1}, SOUND, 2),
        ({"allowed": np.array([[0, 1], [1, 1], [1, 0], [1, 0], [1, 1]], dtype=np.bool_)}, SOUND, 2),
    ],
)
def test_broken_rules_are_counted_whatever_the_margins_are(changes, start, broken):
    rules = rules_of(**changes)
    assert anneal.broken_rules(gear_of_some(), rules, 2, *map(np.array, start)) == broken


def test_heats_nobody_flies_in_have_the_least_energy_and_no_error():
    rules = rules_of(3, heats=3, smallest=0, channel_price=0.0)
    *_, energy = walk(rules, [0, 1, 2], [0, 1, 2], steps=0, gear=gear_of_some(3), heats=3)
    assert energy == pytest.approx(-150.0)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_left_is_the_best_seen_and_its_energy_is_true(seed):
    rules = rules_of(met=pairs_of(5, (0, 2), (1, 3)).astype(np.int64), repeat_price=0.5)
    start = energy_of(gear_of_some(), rules, 2, *CLOSE)
    heat_of, channel, energy = walk(rules, *CLOSE, steps=120, seed=seed)
    assert energy == pytest.approx(energy_of(gear_of_some(), rules, 2, heat_of, channel), abs=1e-6)
    assert energy <= start


@pytest.mark.parametrize("seed", range(4))
def test_the_energy_is_true_where_heats_fall_empty(seed):
    # At 300 dB nearly every move is taken, so heats lose their only pilot again and again.
    rules, gear = rules_of(3, heats=3, usable=np.ones((3, len(MHZ)), dtype=np.bool_)), gear_of_some(3)
    walked = walk(rules, [0, 0, 1], [0, 1, 2], 40, gear, seed, from_db=300.0, to_db=300.0, heats=3)
    assert walked[2] == pytest.approx(energy_of(gear, rules, 3, *walked[:2]), abs=1e-6)


def test_a_heat_that_its_only_pilot_leaves_is_priced_as_empty():
    rules = rules_of(3, together=pairs_of(3, (0, 1), (0, 2), (1, 2)), smallest=1, largest=3)
    heat_of, channel, energy = walk(rules, [0, 0, 1], [0, 3, 5], 60, gear_of_some(3))
    assert len(set(heat_of)) == 1
    assert energy == pytest.approx(energy_of(gear_of_some(3), rules, 2, heat_of, channel), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_a_hot_walk_never_ends_worse_than_it_began(seed):
    # At 300 dB nearly every move is taken; the start is the best of all small moves.
    rules = rules_of()
    heat_of, channel, cold = walk(rules, *SOUND, steps=300)
    *_, hot = walk(rules, heat_of, channel, steps=60, seed=seed, from_db=300.0, to_db=300.0)
    assert hot <= cold + 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_hard_rules_are_never_traded_for_margin(seed):
    # P2 is the loud one: margins would gain if it flew with nobody, which 'together' forbids.
    rules = rules_of(
        together=pairs_of(5, (0, 2), (2, 4), (0, 4)),
        apart=pairs_of(5, (1, 2)),
        allowed=np.array([[1, 0], [1, 1], [1, 1], [1, 1], [1, 1]], dtype=np.bool_),
        capacity=3,
    )
    heat_of, channel, energy = walk(rules, *SOUND, steps=150, seed=seed, from_db=100.0, to_db=1.0)
    assert heat_of == [0, 1, 0, 1, 0]
    assert energy < anneal.HARD
    close = [abs(MHZ[channel[x]] - MHZ[channel[y]]) for x, y in ((0, 2), (0, 4), (2, 4), (1, 3))]
    assert min(close) >= 20


def test_a_round_that_breaks_rules_is_mended():
    rules = rules_of(apart=pairs_of(5, (0, 1)), together=pairs_of(5, (1, 2)), capacity=3)
    *_, energy = walk(rules, *CLOSE, steps=300)
    assert energy < anneal.HARD


def test_the_best_of_all_tiny_rounds_is_found():
    gear, rules = gear_of_some(3), rules_of(3, usable=np.arange(6)[np.newaxis, :].repeat(3, 0) < 3)
    best = min(
        energy_of(gear, rules, 2, heat_of, channel)
        for heat_of in itertools.product((0, 1), repeat=3)
        for channel in itertools.product(range(3), repeat=3)
    )
    *_, energy = walk(rules, [0, 0, 0], [0, 0, 0], steps=400, gear=gear)
    assert energy == pytest.approx(best, abs=1e-6)


def test_the_same_seed_walks_the_same_way_and_another_another():
    rules = rules_of()
    ways = [walk(rules, *CLOSE, steps=40, seed=seed, from_db=5.0, to_db=5.0) for seed in (1, 1, 2, 3, 4, 5)]
    assert ways[0] == ways[1]
    assert any(way != ways[0] for way in ways[2:])


GOLDEN_ROUND = ([0, 1, 0, 1, 0, -1], [3, 1, 1, 4, 4, 2])
GOLDEN_ENERGY_DB = 3.279119397434028
GOLDEN_STATE = 3753417343322709618


def test_the_walk_is_the_same_on_every_machine():
    # Renewed by hand when the search is changed on purpose.
    heat_of, channel = np.array([0, 0, 0, 1, 1, -1]), np.array([0, 1, 1, 4, 4, 2])
    random = random_state()
    rules = rules_of(6, current=np.array([0, 3, -1, 4, -1, -1]), smallest=2, largest=3)
    energy = improve(gear_of_some(6), rules, 2, heat_of, channel, 250, 6.0, 2.0, random)
    assert (heat_of.tolist(), channel.tolist()) == GOLDEN_ROUND
    assert energy == pytest.approx(GOLDEN_ENERGY_DB, abs=1e-9)
    assert int(random[0]) == GOLDEN_STATE


def test_channels_stay_where_nobody_may_retune():
    rules = rules_of(can_retune=False)
    _, channel, energy = walk(rules, *CLOSE, steps=150)
    assert channel == CLOSE[1]
    assert energy < energy_of(gear_of_some(), rules, 2, *CLOSE)


@pytest.mark.parametrize("seed", range(4))
def test_only_usable_channels_are_tried(seed):
    usable = np.zeros((5, len(MHZ)), dtype=np.bool_)
    usable[:, [0, 3, 5]] = True
    usable[4, 5] = False
    _, channel, _ = walk(rules_of(usable=usable), [0, 1, 0, 1, 0], [0, 0, 3, 3, 3], steps=120, seed=seed)
    assert set(channel) <= {0, 3, 5}
    assert channel[4] != 5


@pytest.mark.parametrize("seed", range(4))
def test_who_sits_the_round_out_is_left_alone(seed):
    heat_of, channel, _ = walk(rules_of(), [0, -1, 0, 1, 1], [0, 2, 3, 3, 5], steps=120, seed=seed)
    assert heat_of[1] == -1
    assert channel[1] == 2
    assert -1 not in [heat_of[row] for row in (0, 2, 3, 4)]


@pytest.mark.parametrize("most", [0, 1, 2])
def test_no_more_pilots_are_moved_than_allowed(most):
    current = np.array([0, 0, 2, 4, 4])  # P0 and P2 would gain by more room
    rules = rules_of(current=current, most_changes=most)
    _, channel, _ = walk(rules, [0, 1, 0, 1, 0], current, steps=250)
    assert sum(now != own for now, own in zip(current, channel, strict=True)) <= most


def proposals(rules, heat_of, channel, count=4000):
    """Moves proposed from one state, as (pilots moved, heats changed, channels changed)."""
    heat_of, channel = np.array(heat_of), np.array(channel)
    random = random_state()
    found = []
    for _ in range(count):
        new_heat, new_channel = heat_of.copy(), channel.copy()
        if anneal._propose(rules, random, heat_of, channel, 2, new_heat, new_channel):
            found.append((new_heat - heat_of, new_channel - channel, new_channel))
        else:
            found.append(None)
    return heat_of, channel, found


def kind_of(heat_change, channel_change):
    return int((heat_change != 0).sum()), int((channel_change != 0).sum())


def test_moves_are_of_five_kinds():
    *_, found = proposals(rules_of(), *SOUND)
    kinds = Counter(kind_of(*move[:2]) for move in found if move)
    # One pilot to another channel or heat; two exchange heats, channels, or both (P0 and P1 share a channel).
    assert set(kinds) == {(0, 1), (1, 0), (2, 0), (0, 2), (2, 2)}
    assert (0, 0) not in kinds
    shares = {kind: number / len(found) for kind, number in kinds.items()}
    assert shares[0, 1] == pytest.approx(0.35 * 0.82, abs=0.06)
    assert shares[1, 0] == pytest.approx(0.15 / 2, abs=0.02)
    assert shares[2, 0] == pytest.approx(0.20 * 0.48 + 0.15 * 0.08, abs=0.03)
    assert shares[0, 2] == pytest.approx(0.15 * 0.72, abs=0.03)
    assert shares[2, 2] == pytest.approx(0.15 * 0.40, abs=0.03)


def test_an_exchange_hands_each_what_the_other_had():
    heat_of, channel, found = proposals(rules_of(), *SOUND)
    for heat_change, channel_change, _ in filter(None, found):
        for change, before in ((heat_change, heat_of), (channel_change, channel)):
            moved = np.flatnonzero(change)
            if len(moved) == 2:
                assert (before + change)[moved].tolist() == before[moved][::-1].tolist()


def test_no_move_leads_to_a_channel_that_cannot_be_used():
    usable = np.ones((5, len(MHZ)), dtype=np.bool_)
    usable[0, 3:] = usable[2, :2] = False
    _, _, found = proposals(rules_of(usable=usable), [0, 1, 0, 1, 0], [0, 0, 3, 4, 5])
    assert all(usable[np.arange(5), move[2]].all() for move in found if move)
    assert {int(move[2][0]) for move in found if move} == {0, 1, 2}


def test_without_retunes_only_heats_are_moved():
    _, _, found = proposals(rules_of(can_retune=False), *SOUND)
    kinds = Counter(kind_of(*move[:2]) for move in found if move)
    assert set(kinds) == {(1, 0), (2, 0)}


def test_channels_that_somebody_holds_and_current_ones_are_tried_more_often():
    rules = rules_of(current=np.array([2, -1, -1, -1, -1]))
    *_, found = proposals(rules, [0, 1, 0, 1, 0], [0, 0, 3, 4, 5])
    taken = Counter(
        (pilot, int(move[2][pilot]))
        for move in found
        if move and kind_of(*move[:2]) == (0, 1)
        for pilot in np.flatnonzero(move[1])
    )
    assert taken[0, 2] > 1.8 * taken[0, 1]  # what P0 is set to, against a channel of nobody
    assert sum(taken[row, 3] for row in (0, 1, 3)) > 1.3 * sum(taken[row, 1] for row in (0, 1, 3))


def test_random_numbers_are_those_of_the_published_generator():
    # Marsaglia, "Xorshift RNGs", 2003: shifts 13, 7, 17; the upper 53 bits make a number below 1.
    state = 0x9E3779B97F4A7C15 + 1
    random = random_state()
    for _ in range(50):
        state ^= state << 13 & (1 << 64) - 1
        state ^= state >> 7
        state ^= state << 17 & (1 << 64) - 1
        assert next_number(random) == (state >> 11) / 2**53


def test_a_move_that_is_none_leaves_everything_as_it_was():
    heat_of, channel, random = np.array([0, 1, 0, 1, 0]), np.array([0, 0, 3, 4, 5]), random_state()
    refused = 0
    for _ in range(2000):
        new_heat, new_channel = heat_of.copy(), channel.copy()
        if not anneal._propose(rules_of(), random, heat_of, channel, 2, new_heat, new_channel):
            assert (new_heat.tolist(), new_channel.tolist()) == (heat_of.tolist(), channel.tolist())
            refused += 1
    assert refused


@pytest.mark.parametrize("count", [1, 2, 7])
def test_a_pick_is_any_of_so_many_and_no_other(count):
    random = random_state()
    picked = Counter(pick(random, count) for _ in range(700))
    assert set(picked) == set(range(count))
    assert min(picked.values()) > 700 / count / 2


@pytest.mark.parametrize("seed", range(4))
def test_pilots_of_a_kind_exchange_heats_among_themselves_only(seed):
    kind = np.array([0, 0, 1, 1, 0])
    start = ([0, 1, 0, 1, 1], [0, 0, 3, 4, 5])
    heat_of, *_ = walk(rules_of(kind=kind), *start, steps=300, seed=seed, from_db=100.0, to_db=100.0)
    for heat in (0, 1):
        before = sorted(kind[row] for row in range(5) if start[0][row] == heat)
        assert sorted(kind[row] for row in range(5) if heat_of[row] == heat) == before


def test_who_is_of_no_kind_goes_anywhere():
    kind = np.array([0, 0, 0, 0, -1])
    ends = {
        walk(rules_of(kind=kind), *SOUND, steps=60, seed=seed, from_db=100.0, to_db=100.0)[0][4]
        for seed in range(12)
    }
    assert ends == {0, 1}
