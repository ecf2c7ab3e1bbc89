"""The single steps that may lift the stressed margin of a day, against plain enumeration of small days."""

import itertools
from collections import Counter

import numpy as np
import pytest

from server.allocator import stressed_day
from tests.allocator.test_stressed_day import day_of, lifted, pairs_of

SEEDS = range(12)


def random_day(seed, rest=1):
    """Three rounds of seven pilots in three heats, some of whom sit a round out, with some of every rule."""
    dice = np.random.default_rng(seed)
    heat_of = np.array([dice.permutation([0, 0, 0, 1, 1, 2, -1]) for _ in range(3)])
    allowed = dice.random((3, 7, 3)) < 0.8
    day = day_of(
        heat_of,
        dice.choice([25, 100, 200], size=7).tolist(),
        dice.integers(0, 7, size=7),
        [tuple(dice.choice(7, 2, replace=False))],
        rest,
        allowed,
    )
    day.rules.fixed[dice.integers(7)] = True
    day.rules.channels[:] = dice.random((7, 7)) < 0.6
    return day


def repeats(heat_of):
    return sum(times - 1 for times in Counter(pairs_of(heat_of)).values())


def rest_beside(day, heat_of, number, pilot):
    """Heats between this flight and the ones in the rounds beside it, None where there is none."""
    gaps = []
    for earlier, later in ((number - 1, number), (number, number + 1)):
        if earlier < 0 or later >= len(heat_of) or -1 in (heat_of[earlier][pilot], heat_of[later][pilot]):
            gaps.append(None)
        else:
            gaps.append(day.heats + heat_of[later][pilot] - heat_of[earlier][pilot] - 1)
    return gaps


def exchanged(heat_of, number, pilot, other):
    trial = heat_of.copy()
    trial[number, pilot], trial[number, other] = heat_of[number, other], heat_of[number, pilot]
    return trial


def may_exchange(day, number, pilot, other):
    flown, rules = day.heat_of[number], day.rules
    if -1 in (flown[pilot], flown[other]) or flown[pilot] == flown[other]:
        return False
    trial = exchanged(day.heat_of, number, pilot, other)
    for one in (pilot, other):
        beside = np.flatnonzero((trial[number] == trial[number, one]) & (np.arange(7) != one))
        if rules.fixed[one] or not rules.allowed[number, one, trial[number, one]]:
            return False
        if rules.apart[one, beside].any():
            return False
        gaps = zip(
            rest_beside(day, day.heat_of, number, one), rest_beside(day, trial, number, one), strict=True
        )
        if any(old is not None and new < min(rules.rest, old) for old, new in gaps):
            return False
    return repeats(trial) <= repeats(day.heat_of)


@pytest.mark.parametrize("rest", [0, 1, 2])
@pytest.mark.parametrize("seed", SEEDS)
def test_exactly_those_are_partners_whose_exchange_breaks_nothing(seed, rest):
    day = random_day(seed, rest)
    for number, pilot in itertools.product(range(3), range(7)):
        if day.heat_of[number, pilot] < 0:
            continue
        found = list(day._partners(number, pilot))
        assert found == [other for other in range(7) if may_exchange(day, number, pilot, other)]


def test_some_pilots_of_the_random_days_have_partners():
    days = [random_day(seed) for seed in SEEDS]
    found = [
        list(day._partners(n, p))
        for day in days
        for n in range(3)
        for p in range(7)
        if day.heat_of[n, p] >= 0
    ]
    assert 20 < sum(map(len, found)) < 400


@pytest.mark.parametrize("seed", SEEDS)
def test_repeated_pairings_of_an_exchange_are_counted_as_a_recount_does(seed):
    day = random_day(seed)
    for number, pilot, other in itertools.product(range(3), range(7), range(7)):
        flown = day.heat_of[number]
        if -1 in (flown[pilot], flown[other]) or flown[pilot] == flown[other]:
            continue
        here = np.flatnonzero((flown == flown[pilot]) & (np.arange(7) != pilot))
        there = np.flatnonzero((flown == flown[other]) & (np.arange(7) != other))
        after = repeats(exchanged(day.heat_of, number, pilot, other))
        assert day._repeats_more(pilot, here, other, there) == after - repeats(day.heat_of)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_pilot_is_retuned_alone_by_exchange_and_with_all_who_share_the_channel(seed):
    day = random_day(seed)
    may, before = day.rules.channels, day.channel
    for pilot in range(7):
        mine = before[pilot]
        wanted = set()
        for f in set(range(7)) - {mine}:
            sharers, holders = np.flatnonzero(before == mine), np.flatnonzero(before == f)
            if not may[pilot, f]:
                continue
            groups = []
            if len(holders):
                groups.append(([pilot], []))
                groups += [([pilot], [other]) for other in holders if may[other, mine]]
            if may[sharers, f].all() and may[holders, mine].all():
                groups.append((sharers, holders))
            for those, others in groups:
                trial = before.copy()
                trial[those], trial[others] = f, mine
                wanted.add(tuple(trial.tolist()))
        found = [(tuple(channel.tolist()), moved) for channel, moved in day._retuned(pilot)]
        assert {channel for channel, _ in found} == wanted
        assert len(found) == len(wanted)
        for channel, moved in found:
            assert set(moved) == set(np.flatnonzero(np.array(channel) != before).tolist())


@pytest.mark.parametrize("seed", SEEDS)
def test_a_step_names_every_heat_that_it_changes_once_and_the_worst_first(seed):
    day = random_day(seed)
    for heat_of, channel, touched in day._trials(4):
        assert touched[0] == 4
        assert len(touched) == len(set(touched))
        changed = {
            number * 3 + int(heat_of[number, pilot])
            for number in range(3)
            for pilot in range(7)
            if heat_of[number, pilot] >= 0
            and (heat_of[number, pilot] != day.heat_of[number, pilot] or channel[pilot] != day.channel[pilot])
        }
        assert changed <= set(touched)
        assert set(touched) - {4} <= changed


@pytest.mark.parametrize("seed", SEEDS)
def test_after_all_steps_the_books_agree_with_a_recount(seed):
    day = random_day(seed)
    day.limit = np.inf
    lifted(day)
    recount = [day._loads(number, day.heat_of, day.channel)[1] for number in range(9)]
    assert day.stressed == recount
    met = Counter(pairs_of(day.heat_of))
    assert all(day.met[x, y] == met[frozenset((x, y))] for x, y in itertools.combinations(range(7), 2))


def test_a_heat_of_one_has_no_load_and_needs_no_look():
    day = day_of([[0, 1]], (25, 200), (0, 0))
    assert (day.stressed, day.looks) == ([0.0, 0.0], 0)
    assert day._loads(0, day.heat_of, day.channel) == (0.0, 0.0)


def test_two_closer_than_the_spacing_load_a_heat_without_end():
    near = day_of([[0, 0, 1]], (25, 25, 25), (0, 1, 2))
    spacing = near.gear.spacing_mhz
    assert np.isfinite(near.stressed[0])
    assert near.looks == 1
    wide = near.gear._replace(spacing_mhz=38)
    assert spacing <= 37
    near.gear = wide
    assert near._loads(0, near.heat_of, near.channel) == (np.inf, np.inf)
    near.gear = wide._replace(spacing_mhz=37)
    assert np.isfinite(near._loads(0, near.heat_of, near.channel)[0])


@pytest.mark.parametrize("seed", SEEDS)
def test_the_step_that_is_done_lifts_the_worst_heat_most(seed):
    day = random_day(seed)
    day.limit = np.inf
    worst = int(np.argmax(day.stressed))
    reached = []
    for heat_of, channel, touched in list(day._trials(worst)):
        found = [day._loads(number, heat_of, channel)[1] for number in touched]
        reached.append(max(found))
    before = day.stressed[worst]
    is_lifted = day.lift()
    assert is_lifted == (min(reached, default=np.inf) < before * (1 - 1e-6))
    if is_lifted:
        changed = [now for now, old in zip(day.stressed, loads_before(seed), strict=True) if now != old]
        assert max(changed) == pytest.approx(min(reached), rel=1e-6)


def loads_before(seed):
    return random_day(seed).stressed


def test_heats_are_looked_at_until_so_many_were(monkeypatch):
    assert stressed_day.MOST_LOOKS == 6_000  # common practice, no source
    free = random_day(3)
    began = free.looks
    free.lift()
    assert free.looks > began + 5
    monkeypatch.setattr(stressed_day, "MOST_LOOKS", began + 3)
    short = random_day(3)
    short.lift()
    assert began + 3 <= short.looks < free.looks


def test_a_step_is_dropped_where_one_heat_falls_below_the_worst_margin_or_is_no_better():
    day = day_of([[0, 0, 1, 1]], (25, 25, 25, 25), (0, 1, 2, 3))
    (first, one), (second, other) = (day._loads(number, day.heat_of, day.channel) for number in range(2))
    assert day.limit == pytest.approx(max(first, second))
    assert day.limit > max(first, second)
    bar = max(one, other) * 1.01
    assert day._tried(day.heat_of, day.channel, [0, 1], bar) == {0: one, 1: other}
    assert day._tried(day.heat_of, day.channel, [0, 1], max(one, other)) is None
    day.limit = max(first, second)
    assert day._tried(day.heat_of, day.channel, [0, 1], bar) == {0: one, 1: other}
    day.limit = max(first, second) * 0.99
    assert day._tried(day.heat_of, day.channel, [0, 1], bar) is None


def test_those_who_move_take_one_channel_and_the_others_the_other():
    day = day_of([[0, 0, 1, 1]], channel=(0, 1, 2, 0))
    trial, moved = day._moved([0, 3], 5, [1], 6)
    assert (trial.tolist(), moved) == ([5, 6, 2, 5], (0, 3, 1))
    assert day.channel.tolist() == [0, 1, 2, 0]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_steps_tried_are_all_exchanges_and_all_retunes_of_the_worst_heat(seed):
    day = random_day(seed, rest=0)
    number, heat = divmod(4, 3)
    here = np.flatnonzero(day.heat_of[number] == heat).tolist()
    found = list(day._trials(4))
    exchanges = [trial for trial, channel, _ in found if channel is day.channel]
    wanted = [
        exchanged(day.heat_of, number, pilot, other)
        for pilot in here
        for other in range(7)
        if may_exchange(day, number, pilot, other)
    ]
    assert [one.tolist() for one in exchanges] == [one.tolist() for one in wanted]
    retunes = sum(len(list(day._retuned(pilot))) for pilot in here)
    assert len(found) == len(wanted) + retunes
