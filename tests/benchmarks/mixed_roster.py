"""Random field days of mixed gear, as large as clubs fly: what the planner of days is measured with.

Two thirds tune bands A B E F R, the others R only, A B E F only, or one channel; transmitters have steps from 25
to 600 mW and some cannot go low; some antennas are left-handed; some pilots fly apart, together, only after or
only before a heat. Wishes are drawn so that they can hold.
"""

import random
from dataclasses import replace

from server.allocator.problem import DayProblem, Pilot
from tests.allocator.days import ALL_BANDS, tuned

POWERS_MW = ((25.0,), (25.0, 200.0), (25.0, 200.0, 600.0), (25.0, 100.0, 200.0, 600.0), (25.0, 400.0))
HOT_MW = ((100.0,), (200.0,), (200.0, 600.0))
FIXED_MHZ = (5658, 5732, 5740, 5760, 5800, 5820, 5880)


def mixed_day(seed: int) -> DayProblem:
    """A day of 24 to 64 pilots, 4 to 8 up, 1 to 4 rounds."""
    dice = random.Random(seed)
    return mixed_day_of(dice.randint(24, 64), dice.randint(4, 8), dice.randint(1, 4), seed)


def mixed_day_of(count: int, aircraft: int, rounds: int, seed: int) -> DayProblem:
    """A day of so many pilots."""
    dice = random.Random(seed * 1_000 + count)
    heats = -(-count // aircraft)
    fixed_left = dict.fromkeys(FIXED_MHZ, heats)
    pilots = [_pilot(dice, f"P{number:03}", fixed_left) for number in range(count)]
    _wish(dice, pilots, heats)
    return DayProblem(tuple(pilots), aircraft=aircraft, rounds=rounds, seed=1, time_limit_s=None)


def _pilot(dice: random.Random, name: str, fixed_left: dict[int, int]) -> Pilot:
    kind = dice.random()
    if kind < 2 / 3:
        channels = ALL_BANDS
    elif kind < 0.81:
        channels = tuned("R")
    elif kind < 0.93:
        channels = tuned("ABEF")
    else:
        # No more on one fixed channel than a round has heats, else no plan is possible.
        mhz = dice.choice([one for one, left in fixed_left.items() if left > 1])
        fixed_left[mhz] -= 1
        channels = (mhz,)
    powers = dice.choice(HOT_MW) if dice.random() < 0.08 else dice.choice(POWERS_MW)
    antenna = "lhcp" if dice.random() < 0.08 else "rhcp"
    return Pilot(name, channels, powers, antenna, antenna)


def _wish(dice: random.Random, pilots: list[Pilot], heats: int) -> None:
    """Wishes for some pairs and single pilots, each pilot in one at most; pilots in place."""
    free = [row for row, pilot in enumerate(pilots) if len(pilot.channels_mhz) > 1]
    dice.shuffle(free)
    for _ in range(dice.randint(0, 3)):
        one, other = free.pop(), free.pop()
        pilots[one] = _with(pilots[one], apart=frozenset({pilots[other].callsign}))
    for _ in range(dice.randint(0, 2)):
        one, other = free.pop(), free.pop()
        pilots[one] = _with(pilots[one], together=frozenset({pilots[other].callsign}))
    for _ in range(dice.randint(0, 2)):
        row = free.pop()
        pilots[row] = _with(pilots[row], after=dice.randint(1, max(1, heats // 2)))
    for _ in range(dice.randint(0, 2)):
        row = free.pop()
        pilots[row] = _with(pilots[row], before=heats + 1 - dice.randint(0, max(0, heats // 2 - 1)))


def _with(pilot: Pilot, **wishes: object) -> Pilot:
    return replace(pilot, **wishes)
