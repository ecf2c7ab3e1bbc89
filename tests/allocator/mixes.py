"""Seeded heats of mixed gear, written once for the planner and once for the brute force."""

import random
from typing import NamedTuple

from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.radio.channels import CATALOGUE
from server.radio.site import Receiver, Site
from tests.allocator.brute_force import Entry

CALLSIGNS = ("Wren", "Biscuit", "Juniper", "Sorrel", "Magpie", "Otter")
POWERS_MW = (25, 25, 25, 100, 200, 400, 600)
ANTENNAS = ("rhcp", "rhcp", "rhcp", "lhcp", "linear")
SITES = (Site(), Site(near_m=2, far_m=15), Site(near_m=15, far_m=150, receiver=Receiver(iip3_dbm=-15)))


class Mix(NamedTuple):
    """One heat in both spellings."""

    problem: DayProblem
    powers_mw: tuple[float, ...]
    entries: tuple[Entry, ...]
    day_set_mhz: tuple[int, ...] | None

    @property
    def gear(self):
        return day_gear(self.problem, self.powers_mw)


def usual_mhz():
    """Bands A B E F R above the weather radars, ascending."""
    return sorted({one.mhz for one in CATALOGUE if one.band in "ABEFR" and one.mhz - 5 >= 5650})


def equal_pilots(count, choices_mhz, power_mw=25, site=None, spacing_mhz=20, **of_each):
    """Pilots of one gear."""
    pilots = tuple(Pilot(f"P{x}", tuple(choices_mhz), **of_each) for x in range(count))
    problem = DayProblem(pilots, site=site or Site(), minimum_spacing_mhz=spacing_mhz, one_heat=True)
    entries = tuple(Entry(one.callsign, one.channels_mhz, power_mw) for one in pilots)
    return Mix(problem, (power_mw,) * count, entries, None)


def mix(seed, count, most_choices):
    """A heat of ``count`` pilots with up to ``most_choices`` channels each: bands, powers, antennas, current
    channels, pins, bans, a day's set and the spacing all vary with the seed; equal pilots are frequent."""
    draw = random.Random(seed)
    pool = sorted(draw.sample(usual_mhz(), min(38, most_choices + draw.randint(0, 8))))
    bans = tuple(draw.sample(pool, draw.choice((0, 0, 1, 2))))
    day_set = tuple(sorted(draw.sample(pool, len(pool) // 2))) if draw.random() < 0.5 else None
    is_equal = draw.random() < 0.3
    pilots: list[Pilot] = []
    powers: list[float] = []
    for callsign in CALLSIGNS[:count]:
        if pilots and (is_equal or draw.random() < 0.3):
            gear = {name: getattr(pilots[0], name) for name in ("antenna", "rx_antenna", "gain_dbi")}
            power = powers[0]
        else:
            antenna = draw.choice(ANTENNAS)
            listening = antenna if draw.random() < 0.8 else draw.choice(ANTENNAS)
            gear = {"antenna": antenna, "rx_antenna": listening, "gain_dbi": draw.choice((0, 0, 2, 3.5))}
            power = draw.choice(POWERS_MW)
        choices = tuple(sorted(draw.sample(pool, draw.randint(max(1, most_choices // 2), most_choices))))
        pilots.append(
            Pilot(
                callsign,
                choices,
                power_steps_mw=(power,),
                current_mhz=draw.choice(choices) if draw.random() < 0.5 else None,
                pin_mhz=tuple(draw.sample(choices, draw.randint(1, 3))) if draw.random() < 0.1 else (),
                **gear,
            )
        )
        powers.append(power)
    problem = DayProblem(
        tuple(pilots),
        site=draw.choice(SITES),
        bans_mhz=bans,
        minimum_spacing_mhz=draw.choice((10, 20, 20, 37)),
        day_channels=day_set if day_set is not None else "free",
        one_heat=True,
    )
    return Mix(problem, tuple(powers), _entries(problem, powers), day_set)


def _entries(problem, powers_mw):
    """The same heat for the brute force, pins and bans taken out here by hand."""
    return tuple(
        Entry(
            one.callsign,
            tuple(
                f
                for f in one.channels_mhz
                if f not in problem.bans_mhz and (not one.pin_mhz or f in one.pin_mhz)
            ),
            power,
            one.antenna,
            one.rx_antenna,
            one.gain_dbi,
            one.current_mhz,
        )
        for one, power in zip(problem.pilots, powers_mw, strict=True)
    )
