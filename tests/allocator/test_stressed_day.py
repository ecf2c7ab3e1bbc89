"""The stressed margin of a settled day: lifted, and nothing of what came before it given away."""

import itertools

import numpy as np
import pytest

from server.allocator import stressed_day
from server.allocator.checks import faults_of
from server.allocator.day import DaySearch
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.allocator.search_words import stressed_words
from server.allocator.solve import plan_day
from server.allocator.stressed_day import DayRules, StressedDay
from tests.benchmarks.mixed_roster import mixed_day_of

MHZ = (5658, 5695, 5732, 5769, 5806, 5843, 5880)


def day_of(heat_of, powers=(25, 25, 25, 25), channel=(0, 1, 2, 3), apart=(), rest=0, allowed=None):
    pilots = tuple(Pilot(f"P{row}", MHZ, (float(power),)) for row, power in enumerate(powers))
    gear = day_gear(DayProblem(pilots), [float(power) for power in powers])
    heat_of = np.array(heat_of)
    rounds, heats = len(heat_of), int(heat_of.max()) + 1
    table = np.zeros((len(pilots), len(pilots)), dtype=bool)
    for x, y in apart:
        table[x, y] = table[y, x] = True
    free = np.ones((rounds, len(pilots), heats), dtype=bool) if allowed is None else allowed
    rules = DayRules(gear.usable.copy(), free, np.zeros(len(pilots), dtype=bool), table, rest)
    return StressedDay(gear, rules, heat_of, np.array(channel))


def lifted(day):
    while day.lift():
        pass
    return day


def pairs_of(heat_of):
    return [
        frozenset((x, y))
        for row in heat_of
        for x, y in itertools.combinations(range(len(row)), 2)
        if row[x] == row[y] >= 0
    ]


def loads(day, heat_of, channel):
    return [day._loads(number, heat_of, channel) for number in range(len(heat_of) * day.heats)]


@pytest.mark.parametrize("seed", range(6))
def test_one_heat_of_two_comes_to_the_best_of_all_channels(seed):
    dice = np.random.default_rng(seed)
    powers = dice.choice([25, 100, 200], size=2).tolist()
    day = day_of([[0, 0]], powers, dice.choice(7, 2, replace=False))
    limit = day.limit
    best = min(
        stressed
        for pair in itertools.permutations(range(7), 2)
        for load, stressed in loads(day, day.heat_of, np.array(pair))
        if load <= limit
    )
    assert max(lifted(day).stressed) == pytest.approx(best, rel=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_rules_pairings_rest_and_worst_margin_stay_as_good(seed):
    dice = np.random.default_rng(seed)
    heat_of = np.array([dice.permutation([0, 0, 1, 1]) for _ in range(2)])
    powers, channel = dice.choice([25, 200], size=4).tolist(), dice.permutation(4)
    apart = [(0, 1)] if (heat_of[:, 0] != heat_of[:, 1]).all() else []
    day = day_of(heat_of, powers, channel, apart, rest=1)
    before_load, before = day.limit, max(day.stressed)
    rested = np.minimum(2 + heat_of[1] - heat_of[0] - 1, 1)
    repeats = len(pairs_of(heat_of)) - len(set(pairs_of(heat_of)))
    lifted(day)
    after = loads(day, day.heat_of, day.channel)
    assert max(load for load, _ in after) <= before_load
    assert max(stressed for _, stressed in after) == pytest.approx(max(day.stressed))
    assert max(day.stressed) <= before
    pairs = pairs_of(day.heat_of)
    assert not {frozenset(one) for one in apart} & set(pairs)
    assert len(pairs) - len(set(pairs)) <= repeats
    assert (2 + day.heat_of[1] - day.heat_of[0] - 1 >= rested).all()
    assert len(set(day.channel.tolist())) <= len(set(channel.tolist()))
    assert sorted(day.heat_of[0].tolist()) == [0, 0, 1, 1]


def test_no_step_that_is_left_lifts_the_worst_heat():
    day = lifted(day_of([[0, 0, 1, 1], [0, 1, 0, 1]], (25, 200, 25, 100)))
    assert not day.lift()
    worst = max(day.stressed)
    for pilot, f in itertools.product(range(4), set(day.channel.tolist())):
        trial = day.channel.copy()
        trial[pilot] = f
        found = loads(day, day.heat_of, trial)
        assert (
            max(stressed for _, stressed in found) >= worst * (1 - 1e-6)
            or max(load for load, _ in found) > day.limit
        )


def test_who_may_not_change_heat_or_channel_does_not():
    allowed = np.ones((1, 4, 2), dtype=bool)
    allowed[0, :, 1] = [False, False, True, True]
    allowed[0, 2:, 0] = False
    day = day_of([[0, 0, 1, 1]], (25, 200, 25, 200), allowed=allowed)
    day.rules.channels[:2] = False
    lifted(day)
    assert (day.heat_of.tolist(), day.channel[:2].tolist()) == ([[0, 0, 1, 1]], [0, 1])


def test_a_look_too_many_is_not_taken(monkeypatch):
    monkeypatch.setattr(stressed_day, "MOST_LOOKS", 0)
    assert not day_of([[0, 0]], (25, 200), (0, 1)).lift()


@pytest.mark.parametrize("shape", [(18, 6, 3, 1), (24, 4, 4, 5)])
def test_a_day_gains_and_gives_nothing_away(monkeypatch, shape):
    problem = mixed_day_of(*shape)
    with monkeypatch.context() as without:
        without.setattr(DaySearch, "_with_stressed_margin", lambda self, rounds: (rounds, ()))
        before = plan_day(problem)
    after = plan_day(problem)
    assert after.stressed_margin_db > before.stressed_margin_db + 0.3
    assert after.worst_margin_db >= before.worst_margin_db - 1e-6
    assert after.repeat_pairings <= before.repeat_pairings
    assert len(after.day_channels_mhz) <= len(before.day_channels_mhz)
    assert (after.moves, after.retunes, faults_of(after, problem)) == (before.moves, before.retunes, ())
    assert any("lifts the stressed margin" in note for note in after.search_notes)


def test_a_gain_that_tenths_do_not_show_is_not_told():
    assert stressed_words(-20.03, -19.98) == ()
    assert "from \N{MINUS SIGN}6.8 to \N{MINUS SIGN}6.2 dB" in stressed_words(-6.8, -6.2)[0]
