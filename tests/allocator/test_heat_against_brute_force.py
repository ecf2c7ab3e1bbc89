"""The search for the channels of a heat against enumeration by an independent judge.

200 seeded mixes of up to five pilots: bands, powers, antennas, gains, current channels, pins, bans, the day's
set, the spacing and the site all vary. See ``brute_force`` for the six stages as they are judged here.
"""

import itertools
import random
from dataclasses import replace

import pytest

from server.allocator.heat import best_channels
from server.radio.outside import OutsideSignal
from tests.allocator import brute_force
from tests.allocator.mixes import mix, usual_mhz
from tests.radio import slow_model
from tests.radio.slow_model import Place, place_of

CLOSE_DB = 1e-6
SIZES = {0: (2, 14), 1: (3, 14), 2: (4, 12), 3: (4, 14), 4: (5, 12)}


def seeded(seed):
    return mix(seed, *SIZES[seed % 5])


def hard_rules_hold(heat, mhz):
    is_allowed = all(f in entry.choices_mhz for entry, f in zip(heat.entries, mhz, strict=True))
    return is_allowed and all(
        abs(a - b) >= heat.problem.minimum_spacing_mhz for a, b in itertools.combinations(mhz, 2)
    )


def assert_obeys_all_stages(heat):
    place = place_of(heat.problem.site)
    best = brute_force.best(heat.entries, place, heat.problem.minimum_spacing_mhz, heat.day_set_mhz)
    answer = best_channels(heat.gear)
    assert answer.is_exact
    assert bool(answer.mhz) == bool(best.mhz)
    if not best.mhz:
        return
    assert hard_rules_hold(heat, answer.mhz)
    found = brute_force.facts_of(heat.entries, answer.mhz, place, heat.day_set_mhz)
    assert answer.best_margin_db == pytest.approx(best.best_worst_db, abs=CLOSE_DB)
    assert answer.worst_margin_db == pytest.approx(found.best_worst_db, abs=CLOSE_DB)
    assert answer.stressed_margin_db == pytest.approx(found.best_stressed_db, abs=CLOSE_DB)
    assert found.best_worst_db >= best.best_worst_db - 0.5 - CLOSE_DB
    assert found.best_stressed_db >= best.best_stressed_db - 0.5 - CLOSE_DB
    assert (found.changes, found.outside, found.closest_mhz) == (
        best.changes,
        best.outside,
        best.closest_mhz,
    )
    assert found.tenths == best.tenths
    assert sorted(found.mhz) == sorted(best.mhz)
    if len(set(heat.gear.alike.tolist())) == 1:
        # Pilots of one gear get the lowest channels in the order of the roster. Among unequal gear that
        # ties in everything, who gets which of the set is left open.
        assert found.mhz == best.mhz


@pytest.mark.parametrize("seed", range(200))
def test_chosen_channels_obey_all_six_stages(seed):
    assert_obeys_all_stages(seeded(seed))


@pytest.mark.parametrize("seed", range(12))
def test_chosen_channels_of_few_pilots_obey_all_six_stages(seed):
    assert_obeys_all_stages(mix(1000 + seed, 1 + seed % 3, 6))


def with_outside_signals(heat, seed):
    draw = random.Random(seed)
    low, high = min(usual_mhz()), max(usual_mhz())
    signals = tuple(
        OutsideSignal(draw.randint(low, high), draw.choice((0, 10, 20, 80)), draw.uniform(-100, -70))
        for _ in range(draw.randint(1, 3))
    )
    site = replace(heat.problem.site, outside=signals)
    return heat._replace(problem=replace(heat.problem, site=site))


@pytest.mark.parametrize("seed", range(40))
def test_chosen_channels_obey_all_six_stages_beside_outside_signals(seed):
    assert_obeys_all_stages(with_outside_signals(seeded(seed), seed))


def test_the_mixes_hold_every_kind_of_rule():
    heats = [seeded(seed) for seed in range(200)]
    pilots = [pilot for heat in heats for pilot in heat.problem.pilots]
    assert {heat.problem.minimum_spacing_mhz for heat in heats} == {10, 20, 37}
    assert {pilot.antenna for pilot in pilots} == {"rhcp", "lhcp", "linear"}
    assert sum(bool(pilot.pin_mhz) for pilot in pilots) > 20
    assert sum(pilot.current_mhz is not None for pilot in pilots) > 100
    assert sum(bool(heat.problem.bans_mhz) for heat in heats) > 50
    assert sum(heat.day_set_mhz is not None for heat in heats) > 50
    assert sum(pilot.antenna != pilot.rx_antenna for pilot in pilots) > 20


@pytest.mark.parametrize("seed", range(20))
def test_brute_force_margins_are_those_of_the_slow_model(seed):
    draw = random.Random(seed)
    heat = mix(seed, 2 + seed % 4, 12)
    place = place_of(heat.problem.site)
    lower = place._replace(iip3_dbm=place.iip3_dbm - 10)
    judged = brute_force.judge(heat.entries, place, heat.problem.minimum_spacing_mhz)
    for row in draw.sample(range(len(judged.mhz)), min(5, len(judged.mhz))):
        up = [entry.on(int(f)) for entry, f in zip(heat.entries, judged.mhz[row], strict=True)]
        assert list(judged.margins[row]) == pytest.approx(
            [slow_model.margin_db(one, up, place) for one in up], abs=1e-9
        )
        assert list(judged.stressed[row]) == pytest.approx(
            [slow_model.margin_db(one, up, lower) for one in up], abs=1e-9
        )


def test_brute_force_looks_at_every_assignment_that_keeps_the_spacing():
    entries = [brute_force.Entry("Wren", (5700, 5800)), brute_force.Entry("Otter", (5690, 5720, 5800))]
    rows = brute_force.judge(entries, Place(), 20).mhz.tolist()
    assert rows == [[5700, 5720], [5700, 5800], [5800, 5690], [5800, 5720]]


def test_brute_force_names_the_outermost_pair():
    choices = tuple(usual_mhz())
    best = brute_force.best([brute_force.Entry("Wren", choices), brute_force.Entry("Otter", choices)])
    assert best.mhz == (5658, 5945)
    assert best.best_worst_db == pytest.approx(8.0)
