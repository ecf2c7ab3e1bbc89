"""Heats of mixed gear, powers and antennas, drawn by a seed: what a search is timed on."""

import random

from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.radio.channels import CATALOGUE

BANDS = ("ABEFR", "ABEFR", "ABEFR", "ABEFR", "ABEF", "R")
POWERS_MW = (25.0, 25.0, 25.0, 100.0, 200.0, 400.0, 600.0)
ANTENNAS = ("rhcp", "rhcp", "rhcp", "lhcp", "linear")


def tuned_mhz(bands: str) -> tuple[int, ...]:
    """MHz of all channels of some bands, ascending, without the one that touches the weather radars."""
    return tuple(sorted({one.mhz for one in CATALOGUE if one.band in bands and one.label != "E4"}))


def mixed_heat(seed: int, count: int = 8) -> Gear:
    """Pilots of whom two thirds tune A B E F R, the others A B E F or R only; any power, any antenna."""
    draw = random.Random(seed)
    pilots, powers_mw = [], []
    for number in range(count):
        power_mw, antenna = draw.choice(POWERS_MW), draw.choice(ANTENNAS)
        bands = draw.choice(BANDS)
        pilots.append(Pilot(f"P{number}", tuned_mhz(bands), (power_mw,), antenna, antenna))
        powers_mw.append(power_mw)
    return day_gear(DayProblem(tuple(pilots), one_heat=True), powers_mw)
