"""Random field days for the planner's tests: mixed gear, rules between pilots, given heats, fixed channels."""

import random

from server.allocator.problem import DayProblem, Pilot
from server.radio.channels import CATALOGUE


def tuned(bands: str) -> tuple[int, ...]:
    """MHz of all channels of some bands, ascending, without the one that touches the weather radars."""
    return tuple(sorted({one.mhz for one in CATALOGUE if one.band in bands and one.label != "E4"}))


ALL_BANDS = tuned("ABEFR")


def equal_pilots(count: int, channels_mhz: tuple[int, ...] = ALL_BANDS) -> tuple[Pilot, ...]:
    """Pilots whose gear is the same."""
    return tuple(Pilot(f"P{number:02}", channels_mhz) for number in range(count))


def random_day(seed: int) -> DayProblem:
    """A day of up to 26 pilots with about every kind of rule somewhere in a few dozen seeds."""
    dice = random.Random(seed)
    count = dice.randint(1, 26)
    aircraft = dice.randint(1, 8)
    names = [f"P{number:02}" for number in range(count)]
    heats = -(-count // aircraft)
    pilots = tuple(_random_pilot(dice, name, names, heats) for name in names)
    return DayProblem(
        pilots, aircraft=aircraft, rounds=dice.randint(1, 4), time_limit_s=None, **_wishes(dice, names)
    )


def _random_pilot(dice: random.Random, name: str, names: list[str], heats: int) -> Pilot:
    gear = [ALL_BANDS, tuned("R"), tuned("ABEF"), (5800,), (5740, 5880)]
    channels = dice.choices(gear, [60, 15, 15, 5, 5])[0]
    antenna = dice.choices(["rhcp", "lhcp", "linear"], [80, 10, 10])[0]

    def sometimes(share: float, value: object) -> object:
        return value if dice.random() < share else None

    others = frozenset({dice.choice(names)}) - {name}
    return Pilot(
        name,
        channels,
        dice.choice([(25.0,), (25.0, 200.0, 600.0), (200.0,), (25.0, 100.0)]),
        antenna,
        antenna,
        gain_dbi=dice.choice([0.0, 0.0, 2.0]),
        current_mhz=sometimes(0.5, dice.choice(channels)),
        pin_mhz=sometimes(0.05, (dice.choice(channels),)) or (),
        apart=sometimes(0.1, others) or frozenset(),
        together=sometimes(0.06, others) or frozenset(),
        spotter=sometimes(0.1, dice.choice(names)),
        after=sometimes(0.05, dice.randint(1, heats + 1)),
        before=sometimes(0.05, dice.randint(1, heats + 2)),
        heat=sometimes(0.05, dice.randint(1, heats + 1)),
    )


def _wishes(dice: random.Random, names: list[str]) -> dict[str, object]:
    wishes: dict[str, object] = {}
    kind = dice.random()
    if kind < 0.2:
        wishes["day_channels"] = tuple(dice.sample(ALL_BANDS, dice.randint(1, 10)))
    elif kind < 0.4:
        wishes["day_channels"] = "free"
    if dice.random() < 0.2:
        wishes["bans_mhz"] = tuple(dice.sample(ALL_BANDS, 3))
    if dice.random() < 0.3:
        wishes["common_power_mw"] = dice.choice([25.0, 200.0])
    if len(names) <= 8 and dice.random() < 0.3:
        wishes["one_heat"] = True
    elif dice.random() < 0.2:
        wishes["heats_given"] = tuple(
            tuple(dice.sample(names, min(len(names), dice.randint(1, 6)))) for _ in range(dice.randint(1, 5))
        )
    return wishes
