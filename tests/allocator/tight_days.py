"""Seeded small days of which about half cannot be planned, for everything that is said of conflicts."""

import random

from server.allocator.problem import DayProblem, Pilot

NAMES = ("Wren", "Rook", "Coot", "Otter", "Sorrel", "Magpie")
CHANNELS = (5700, 5710, 5730, 5760)


def tight_day(seed):
    """Two to six pilots of few channels with many wishes, in one to three rounds; some of one heat."""
    dice = random.Random(seed)
    names = NAMES[: dice.randint(2, 6)]
    aircraft = dice.randint(1, 3)
    rounds = dice.randint(1, 3)
    heats = -(-len(names) // aircraft)

    def sometimes(share, value, otherwise=None):
        return value if dice.random() < share else otherwise

    pilots = tuple(
        Pilot(
            name,
            tuple(sorted(dice.sample(CHANNELS, dice.randint(1, 3)))),
            pin_mhz=sometimes(0.1, (dice.choice(CHANNELS),), ()),
            apart=sometimes(0.2, frozenset({dice.choice(names)}), frozenset()),
            together=sometimes(0.25, frozenset({dice.choice(names)}), frozenset()),
            spotter=sometimes(0.1, dice.choice(names)),
            after=sometimes(0.15, dice.randint(1, rounds * heats + 1)),
            before=sometimes(0.15, dice.randint(1, rounds * heats + 1)),
            heat=sometimes(0.25, dice.randint(1, rounds * heats)),
        )
        for name in names
    )
    bans = (5760,) if dice.random() < 0.2 else ()
    one_heat = dice.random() < 0.1
    return DayProblem(
        pilots, aircraft=aircraft, rounds=rounds, bans_mhz=bans, one_heat=one_heat, time_limit_s=None
    )


def tight_given_day(seed):
    """Given heats of pilots of few channels, some of whom must not meet."""
    dice = random.Random(seed)
    pilots = tuple(
        Pilot(
            name,
            tuple(sorted(dice.sample(CHANNELS, dice.randint(1, 3)))),
            apart=frozenset({dice.choice(NAMES)}) if dice.random() < 0.15 else frozenset(),
            pin_mhz=(dice.choice(CHANNELS),) if dice.random() < 0.1 else (),
        )
        for name in NAMES
    )
    heats = tuple(tuple(dice.sample(NAMES, dice.randint(1, 3))) for _ in range(dice.randint(1, 4)))
    return DayProblem(pilots, heats_given=heats, time_limit_s=None)
