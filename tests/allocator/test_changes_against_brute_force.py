"""Rows 0 to 3 of the trade-off against enumeration by an independent judge.

Heats of two to six pilots with hot transmitters (up to 600 mW), gear fixed on one channel, crossed antennas,
pins, bans, pilots who come late, and a transmitter that is down and still on. See ``brute_force``.
"""

import math
import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from server.allocator.changes import HELPS_DB, trade_offs
from server.allocator.checks import broken_rules
from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.rest import Down, RestOfDay
from tests.allocator import brute_force
from tests.allocator.brute_force import Entry
from tests.allocator.mixes import mix
from tests.radio.slow_model import place_of

CLOSE_DB = 1e-6
SIZES = {0: (3, 14), 1: (4, 12), 2: (5, 8), 3: (6, 6), 4: (6, 6)}


def changed_heat(seed):
    """A heat whose set pilots stand in the plan, fixed gear among them; the others come late."""
    heat = mix(seed, *SIZES[seed % 5])
    draw = random.Random(seed)
    pilots, entries = list(heat.problem.pilots), list(heat.entries)
    if seed % 3 == 0:  # one pilot's gear knows one channel only
        row = draw.randrange(len(pilots))
        only = (draw.choice(entries[row].choices_mhz),) if entries[row].choices_mhz else ()
        pilots[row] = replace(pilots[row], channels_mhz=only, pin_mhz=())
        entries[row] = entries[row]._replace(choices_mhz=only)
    planned = [one for one in pilots if one.current_mhz is not None]
    powers = {one.callsign: power for one, power in zip(pilots, heat.powers_mw, strict=True)}
    slots = tuple(Slot(one.callsign, one.current_mhz, powers[one.callsign]) for one in planned)
    lost = (Down("Lost", draw.choice((5658, 5800, 5945)), 25.0),) if seed % 4 == 1 else ()
    problem = replace(heat.problem, pilots=tuple(pilots), one_heat=False)
    rest = RestOfDay(problem, (Heat(1, 1, slots, None, None, False),), 1, 25.0, lost)
    return rest, [*entries, *(Entry(one.callsign, (one.mhz,), one.power_mw) for one in lost)]


def best_by_enumeration(rest, entries):
    """Best worst margin in dB with at most 0, 1, 2, 3 and any number moved; -inf where the rules leave none."""
    judged = brute_force.judge(entries, place_of(rest.problem.site), rest.problem.minimum_spacing_mhz)
    pilots = len(rest.problem.pilots)
    set_to = [entry.current_mhz for entry in entries]
    moves = sum(
        (judged.mhz[:, row] != mhz).astype(int) for row, mhz in enumerate(set_to[:pilots]) if mhz is not None
    )
    moves = np.broadcast_to(moves, len(judged.mhz))
    worst = judged.margins[:, :pilots].min(axis=1, initial=math.inf)
    return [worst[moves <= most].max(initial=-math.inf) for most in (*range(4), len(entries))]


def seeds_with_a_plan():
    """Seeds in which somebody stands in the plan and everybody has a channel."""
    found = []
    for seed in range(90):
        rest, entries = changed_heat(seed)
        lost_on = [one.mhz for one in rest.down]
        spacing = rest.problem.minimum_spacing_mhz
        is_free = all(
            any(all(abs(f - mhz) >= spacing for mhz in lost_on) for f in entry.choices_mhz)
            for entry in entries[: len(rest.problem.pilots)]
        )
        if rest.heats[0].slots and is_free:
            found.append(seed)
    return found


def test_there_are_enough_seeds_of_each_kind():
    seeds = seeds_with_a_plan()
    assert len(seeds) >= 40
    assert sum(bool(changed_heat(seed)[0].down) for seed in seeds) >= 5
    assert sum(seed % 3 == 0 for seed in seeds) >= 10


@pytest.mark.parametrize("seed", seeds_with_a_plan())
def test_rows_0_to_3_are_what_enumeration_finds(seed):
    rest, entries = changed_heat(seed)
    wanted = best_by_enumeration(rest, entries)
    rows = trade_offs(rest).rows
    if any(row.extra_heats for row in rows):
        assert wanted[-1] == -math.inf  # newcomers fly apart only where no channels hold them all
        return
    for most in range(4):
        reached = [row for row in rows if row.moved <= most]
        best = max(
            (math.inf if row.worst_margin_db is None else row.worst_margin_db for row in reached),
            default=-math.inf,
        )
        if math.isinf(wanted[most]):
            assert best == wanted[most]
        else:
            assert wanted[most] - HELPS_DB - CLOSE_DB <= best <= wanted[most] + CLOSE_DB
        for row in reached:
            if row.moved == most and row.worst_margin_db is not None:
                assert row.is_proved
                assert row.worst_margin_db == pytest.approx(wanted[most], abs=CLOSE_DB)


@pytest.mark.parametrize("seed", seeds_with_a_plan())
def test_every_row_keeps_the_rules_and_names_its_moves(seed):
    rest, _ = changed_heat(seed)
    set_to = {pilot.callsign: pilot.current_mhz for pilot in rest.problem.pilots}
    for row in trade_offs(rest).rows:
        assert broken_rules(DayPlan("feasible", row.heats), rest.problem) == []
        now = {slot.callsign: slot.mhz for heat in row.heats for slot in heat.slots}
        named = {(move.callsign, move.from_mhz, move.to_mhz) for move in row.moves}
        assert named == {
            (who, was, now[who]) for who, was in set_to.items() if was is not None and now[who] != was
        }
        assert row.moved == len(named)


@pytest.mark.parametrize("seed", seeds_with_a_plan())
def test_more_moves_are_offered_only_where_they_help(seed):
    rest, _ = changed_heat(seed)
    for before, after in pairwise(trade_offs(rest).rows):
        assert after.moved > before.moved
        assert after.worst_margin_db is None or after.worst_margin_db >= before.worst_margin_db + HELPS_DB
