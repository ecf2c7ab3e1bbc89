"""Heats with a fault, flown second by second, and what a pilot then says: a model of its own to judge the ranking.

It shares with the program only the catalogue, free space and the planner that picks the channels. Everything else
is its own, on purpose different from what the ranking assumes:

* aircraft fly loops of their own pace; every path fades by some dB; transmitters are off their labels, receivers
  off the usual intercept point; what an interferer needs to be seen is that of a numerical model of FM video
  with 8 MHz of deviation (radio reference, section 2.4) mixed with the template of the Radio Regulations, a mix
  for each receiver;
* at every step of the flight the picture is clear, has lines, snow, somebody else's picture, or is gone;
* the pilot looks back on the flight and uses the words for what came most, with "when somebody is near" where most
  bad moments have one aircraft close and few have it far; some words are wrong, some names too, and not everybody
  knows when it began. Of the others half of those speak up whose own picture, simulated alike, is bad for long.

A fault that is hardly ever seen, or that changes little, is no report, and another heat is drawn.
"""

import itertools
import math
import random
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.advice import Seat
from server.allocator.heat import best_worst_margin
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, gear_of
from server.allocator.trouble import Report
from server.allocator.trouble_air import Air, Flier, OnGround
from server.allocator.trouble_signs import FROM_START, SUDDENLY, SYMPTOMS
from server.radio.channels import CATALOGUE, TWIN_MHZ, lookalikes
from server.radio.outside import OutsideSignal
from server.radio.site import PRESETS

SHARES = {
    "wrong channel": 0.24,
    "pits": 0.20,
    "own channel": 0.12,
    "carrier": 0.14,
    "product": 0.08,
    "link": 0.14,
    "outside": 0.08,
}
"""How often each kind is injected: common practice, no source."""

LEAST_PLANNED_DB = -6.0
"""Worst margin as planned: nobody publishes a heat that is worse than specks."""

FLIGHTS_OF_A_HEAT = 25
STEPS = 240
SPEAKS_UP, BAD_FOR_LONG, SPEAKS_FOR_NOTHING = 0.5, 0.1, 0.02
WRONG_WORD, WRONG_NAME, NO_NAME, NO_ONSET, WRONG_ONSET = 0.10, 0.12, 0.10, 0.30, 0.10
SEEN_AT_LEAST = 0.04
CALLS_IT_SNOW, DECOY = 0.2, 0.2
BANDS = ("A B E F R", "A B E F R", "A B E F", "R")
STEPS_MW = ((25.0,), (25.0, 200.0), (25.0, 100.0, 200.0), (25.0, 200.0, 600.0), (25.0, 400.0))

_MODEL = ((0, 4, 6, 8, 10, 12, 15, 18, 20, 22, 25, 29), (28, 27, 25, 21, 15, 0, -1, -5, -11, -17, -26, -36))
_TEMPLATE = (
    (0, 8.36, 10, 12.87, 15, 20, 21.25, 25, 30, 35, 38.19),
    (28, 28, 23.5, 15.5, 13.1, 7.3, 5.9, -1.6, -11.6, -21.6, -28),
)
OFF_TUNE = ((0, 5, 8, 10, 12, 15, 18, 20, 25), (0, 0.2, 0.6, 1.2, 2.6, 6.7, 14, 20, 35))


@dataclass(frozen=True)
class Trouble:
    """A heat, what its pilot said, and what was really the matter; `flight` is the one that was reported."""

    air: Air
    report: Report
    kind: str
    who: tuple[str, ...]
    flight: "Flight"


def troubles(count: int, seed: int) -> list[Trouble]:
    """So many faults, in the shares of their kinds, each in a heat of its own."""
    draw = random.Random(seed)
    kinds = draw.choices(list(SHARES), weights=list(SHARES.values()), k=count)
    return [_trouble(draw, kind) for kind in kinds]


def _trouble(draw: random.Random, kind: str) -> Trouble:
    while True:
        air = _air(draw)
        for _ in range(FLIGHTS_OF_A_HEAT):
            flight = Flight(draw, air, draw.randrange(len(air.fliers)), kind)
            report = flight.report()
            if report is not None:
                return Trouble(flight.air, report, kind, flight.who, flight)


def _pilot(draw: random.Random, name: str) -> Pilot:
    bands = draw.choice(BANDS)
    channels = tuple(sorted({one.mhz for one in CATALOGUE if one.band in bands and 5655 <= one.mhz <= 5920}))
    return Pilot(name, channels, power_steps_mw=draw.choice(STEPS_MW))


def _air(draw: random.Random) -> Air:
    pilots = [_pilot(draw, f"P{number:02}") for number in range(draw.randint(9, 24))]
    up = min(len(pilots), draw.choice((3, 4, 5, 6, 6, 6, 8)))
    site = draw.choice((PRESETS["club field"], PRESETS["club field"], PRESETS["long field"], PRESETS["hall"]))
    common_mw = draw.choice((25.0, 25.0, 25.0, 200.0))
    powers = [one.power_at(common_mw) for one in pilots]
    if draw.random() < DECOY:
        # One that is known and planned around.
        signal = OutsideSignal(draw.randint(5650, 5920), draw.choice((10, 20)), draw.uniform(-100, -80))
        site = replace(site, outside=(signal,))
    day = DayProblem(tuple(pilots), site)
    gear = gear_of(day_gear(day, powers), range(up))
    answer = best_worst_margin(gear, node_limit=1000)
    chosen = answer.mhz
    if answer.worst_margin_db < LEAST_PLANNED_DB:
        return _air(draw)
    fliers = tuple(
        Flier(Seat(pilot, mhz, power), draw.random() < 0.5)
        for pilot, mhz, power in zip(pilots[:up], chosen, powers[:up], strict=True)
    )
    ground = []
    for pilot in pilots[up:]:
        # The day has one set of channels: most on the ground are set to one that is in the air now.
        own = [mhz for mhz in chosen if mhz in pilot.channels_mhz] or list(pilot.channels_mhz)
        mhz = draw.choice(own) if draw.random() < 0.8 else draw.choice(pilot.channels_mhz)
        ground.append(OnGround(pilot, mhz, max(pilot.power_steps_mw), draw.random() < up / len(pilots)))
    return Air(day, fliers, tuple(ground))


class Flight:
    """One flight with one fault, at the receiver of one pilot."""

    def __init__(self, draw: random.Random, air: Air, me: int, kind: str) -> None:
        self.draw, self.air, self.me, self.kind = draw, air, me, kind
        self.noise = np.random.default_rng(draw.randrange(2**32))
        self.site = air.problem.site
        self.who: tuple[str, ...] = ()
        self.others = [number for number in range(len(air.fliers)) if number != me]
        self.mhz = [one.seat.mhz for one in air.fliers]
        self.eirp_dbm = [10 * math.log10(one.seat.power_mw) + draw.gauss(0, 1.5) for one in air.fliers]
        self.iip3_dbm = -10 + draw.gauss(0, 3)
        self.mix = draw.random()
        # MHz, level in dBm, width in MHz, whether it is a picture, and from when on, of what does not move.
        self.still = [(one.centre_mhz, one.level_dbm, one.width_mhz, False, 0.0) for one in self.site.outside]
        self.begins = 0.0
        self.usual = (list(self.mhz), list(self.eirp_dbm), self.iip3_dbm, list(self.still))
        self.is_possible = getattr(self, f"_{kind.replace(' ', '_')}")()

    # The faults

    def _wrong_channel(self) -> bool:
        found = [(one, mhz) for one in self.others for mhz in self._wrong(one)]
        return self._set_wrong(*self.draw.choice(found)) if found else False

    def _own_channel(self) -> bool:
        found = self._wrong(self.me)
        return self._set_wrong(self.me, self.draw.choice(found)) if found else False

    def _set_wrong(self, one: int, mhz: int) -> bool:
        if self.air.fliers[one].is_confirmed and self.draw.random() < 0.9:
            return False
        self.mhz[one] = mhz
        self.who = (self.name(one),)
        return True

    def _wrong(self, one: int) -> list[int]:
        seat = self.air.fliers[one].seat
        near = [one.mhz for one in lookalikes(seat.mhz) if abs(one.mhz - seat.mhz) > TWIN_MHZ]
        return sorted(set(near) & set(seat.pilot.channels_mhz))

    def _pits(self) -> bool:
        weights = [3.0 if one.is_next else 1.0 for one in self.air.ground]
        one = self.draw.choices(self.air.ground, weights)[0]
        mhz = one.mhz if self.draw.random() < 0.75 else self.draw.choice(one.pilot.channels_mhz)
        level_dbm = self.level_dbm(10 * math.log10(one.power_mw), self.site.pit_m)
        self.begins = self.draw.uniform(0.1, 0.6) if self.draw.random() < 0.75 else 0.0
        self.still.append((mhz, float(level_dbm) + self.draw.gauss(0, 3), 0.0, True, self.begins))
        self.who = (one.pilot.callsign,)
        return True

    def _carrier(self) -> bool:
        # Left on its highest step, where it has one; else hotter than its label.
        seats = {one: self.air.fliers[one].seat for one in self.others}
        above_db = {
            one: 10 * math.log10(max(seat.pilot.power_steps_mw) / seat.power_mw)
            for one, seat in seats.items()
        }
        one = self.draw.choices(self.others, [4.0 if above_db[one] > 3 else 1.0 for one in self.others])[0]
        self.eirp_dbm[one] += above_db[one] if above_db[one] > 3 else 6
        self.who = (self.name(one),)
        return True

    def _product(self) -> bool:
        self.iip3_dbm -= self.draw.uniform(9, 15)
        self.who = ()
        return len(self.others) > 1

    def _link(self) -> bool:
        self.eirp_dbm[self.me] -= self.draw.uniform(8, 20)
        self.who = (self.name(self.me),)
        return True

    def _outside(self) -> bool:
        mhz = self.mhz[self.me] + self.draw.randint(-12, 12)
        width = self.draw.choice((0, 10, 20, 40))
        signal = OutsideSignal(mhz, width, self.draw.uniform(-88, -62))
        is_picture = width <= 10 and self.draw.random() < 0.5
        self.begins = self.draw.uniform(0.1, 0.6) if self.draw.random() < 0.4 else 0.0
        self.still.append((mhz, signal.level_dbm, width, is_picture, self.begins))
        if self.draw.random() < 0.5:
            noted = replace(signal, level_dbm=signal.level_dbm + self.draw.gauss(0, 4))
            site = replace(self.site, outside=(*self.site.outside, noted))
            self.air = replace(self.air, problem=replace(self.air.problem, site=site))
        return True

    # The flight

    def report(self) -> Report | None:
        if not self.is_possible:
            return None
        far = {number: self.distances_m() for number in range(len(self.mhz))}
        seen = self.seen(self.me, far)
        self.flown = far, seen
        if (seen > 0).mean() < SEEN_AT_LEAST:
            return None
        if (self._without_fault(far) > 0).mean() > 0.3 * (seen > 0).mean():
            return None
        share = {state: float((seen == state).mean()) for state in range(1, 5)}
        also = frozenset(self.name(one) for one in self.others if self._speaks_up(one, far))
        return replace(self._told(seen, share, far), also=also)

    def _without_fault(self, far: dict[int, np.ndarray]) -> np.ndarray:
        """The same flight as it would have been."""
        fault = (self.mhz, self.eirp_dbm, self.iip3_dbm, self.still)
        self.mhz, self.eirp_dbm, self.iip3_dbm, self.still = self.usual
        seen = self.seen(self.me, far)
        self.mhz, self.eirp_dbm, self.iip3_dbm, self.still = fault
        return seen

    def _speaks_up(self, one: int, far: dict[int, np.ndarray]) -> bool:
        is_bad = (self.seen(one, far) > 0).mean() > BAD_FOR_LONG
        return self.draw.random() < (SPEAKS_UP if is_bad else SPEAKS_FOR_NOTHING)

    def distances_m(self) -> np.ndarray:
        """A loop between near and far; each aircraft at its own pace."""
        time = np.linspace(0, 1, STEPS)
        turns, start = self.draw.uniform(3, 9), self.draw.uniform(0, 2 * math.pi)
        wave = 0.5 + 0.5 * np.sin(2 * math.pi * turns * time + start)
        return self.site.near_m + (self.site.far_m - self.site.near_m) * wave ** self.draw.uniform(0.7, 1.6)

    def level_dbm(self, eirp_dbm: float, distance_m: float | np.ndarray) -> np.ndarray:
        return eirp_dbm + 2 - 20 * np.log10(4 * math.pi * np.asarray(distance_m) * 5.8e9 / 299792458)

    def _faded(self, level_dbm: np.ndarray) -> np.ndarray:
        slow = np.convolve(self.noise.normal(0, 1, STEPS + 8), np.ones(9) / 3, "valid")
        return level_dbm + 2.0 * slow

    def _needed_db(self, offset_mhz: float, width_mhz: float = 0.0) -> float:
        offsets = abs(offset_mhz + np.linspace(-0.5, 0.5, 41) * width_mhz)
        model = np.interp(offsets, *_MODEL)
        template = np.interp(offsets, *_TEMPLATE)
        return float(10 * np.log10(np.mean(10 ** ((self.mix * model + (1 - self.mix) * template) / 10))))

    def seen(self, me: int, far: dict[int, np.ndarray]) -> np.ndarray:
        """(t,) what one pilot sees: 0 clear, 1 lines, 2 snow, 3 another picture, 4 gone."""
        tuned = self.air.fliers[me].seat.mhz
        off_mhz = abs(self.mhz[me] - tuned)
        own = self._faded(self.level_dbm(self.eirp_dbm[me], far[me])) - np.interp(off_mhz, *OFF_TUNE)
        others = [one for one in range(len(self.mhz)) if one != me]
        level = {one: self._faded(self.level_dbm(self.eirp_dbm[one], far[one])) for one in others}
        heard = [(self.mhz[one], 0.0, level[one], True) for one in others] + self._still_heard()
        excess = [power + self._needed_db(mhz - tuned, width) - own for mhz, width, power, _ in heard]
        pictures = [
            power - np.interp(abs(mhz - tuned), *OFF_TUNE)
            for mhz, _, power, is_picture in heard
            if is_picture and abs(mhz - tuned) <= 11
        ]
        excess.append(self._products(me, level, tuned) - own)
        worst = 10 * np.log10(sum(10 ** (one / 10) for one in excess))
        strongest = np.max(pictures, axis=0) if pictures else np.full(STEPS, -200.0)
        over_noise = own + 93.7 + self.noise.normal(0, 0.5) - 2.0 * max(0, off_mhz - 8)
        wide = [one for one, (_, width, _, _) in zip(excess, heard, strict=False) if width >= 20]
        is_like_noise = np.max(wide, axis=0) > worst - 3 if wide else np.zeros(STEPS, dtype=bool)
        seen = np.zeros(STEPS, dtype=int)
        # A criterion met with 0 dB is a picture that an expert calls clean: people see lines some dB later.
        seen[worst > 6] = 1
        seen[(worst > 6) & is_like_noise] = 2
        seen[(off_mhz >= 10) & (over_noise < 22)] = 1
        seen[over_noise < 11] = 2
        seen[worst > 26] = 4
        seen[strongest > own + 1] = 3
        seen[over_noise < 3] = 4
        return seen

    def _still_heard(self) -> list[tuple[float, float, np.ndarray, bool]]:
        """MHz, width, level and whether it is a picture, of what stands on the ground."""
        time = np.linspace(0, 1, STEPS)
        return [
            (mhz, width, np.where(time >= begins, self._faded(np.full(STEPS, level_dbm)), -200.0), is_picture)
            for mhz, level_dbm, width, is_picture, begins in self.still
        ]

    def _products(self, me: int, level: dict[int, np.ndarray], tuned: int) -> np.ndarray:
        """(t,) dB of all third-order products of the others, with what each needs; notes who makes most of it."""
        # A poor receiver is the fault of one pilot; the others have a usual one.
        iip3_dbm = self.iip3_dbm if me == self.me else -10.0
        total = np.zeros(STEPS)
        largest: dict[frozenset[str], float] = {}
        for a, b, c in itertools.product(level, repeat=3):
            if c in (a, b) or b < a:
                continue
            power = level[a] + level[b] + level[c] - 2 * iip3_dbm + (0 if a == b else 6)
            heard = 10 ** ((power + self._needed_db(self.mhz[a] + self.mhz[b] - self.mhz[c] - tuned)) / 10)
            total += heard
            makers = frozenset(self.name(one) for one in (a, b, c))
            largest[makers] = largest.get(makers, 0.0) + float(heard.mean())
        if self.kind == "product" and me == self.me and not self.who and largest:
            self.who = tuple(sorted(max(largest, key=lambda makers: largest[makers])))
        return 10 * np.log10(total + 1e-30)

    # The words

    def _told(self, seen: np.ndarray, share: dict[int, float], far: dict[int, np.ndarray]) -> Report:
        bad = seen > 0
        near = self._goes_with(bad, far)
        own_grows = self._contrast(bad, far[self.me]) > 0.8
        spent = sum(share.values())
        if share[4] > 0.5 * spent:
            word = "black"
        elif share[3] > 0.35 * spent:
            word = "another picture"
        elif near is not None and spent < 0.6:
            word = "flicker"
        elif (
            share[2] > 0.5 * spent
            or (own_grows and share[2] > 0.2 * spent)
            or (own_grows and self.draw.random() < CALLS_IT_SNOW)
        ):
            word = "snow far out"
        else:
            word = "lines"
        if self.draw.random() < WRONG_WORD:
            word = self.draw.choice([one for one in SYMPTOMS if one != word])
        name = None
        if word == "flicker" and self.draw.random() >= NO_NAME:
            is_wrong = near is None or self.draw.random() < WRONG_NAME
            name = self.name(self.draw.choice(self.others) if is_wrong else near)
        return Report(self.name(self.me), word, name, self._onset())

    def _onset(self) -> str | None:
        if self.draw.random() < NO_ONSET:
            return None
        began_late = self.begins > 0 or (self.kind == "link" and self.draw.random() < 0.25)
        if self.draw.random() < WRONG_ONSET:
            began_late = not began_late
        return SUDDENLY if began_late else FROM_START

    def _goes_with(self, bad: np.ndarray, far: dict[int, np.ndarray]) -> int | None:
        """The aircraft that is close in most bad moments and far in few, where there plainly is one."""
        found = {}
        for one in self.others:
            is_close = far[one] < np.quantile(far[one], 0.3)
            when_close, else_bad = bad[is_close].mean(), bad[~is_close].mean()
            if when_close > 0.4 and when_close > 3.0 * else_bad:
                found[one] = when_close - else_bad
        return max(found, key=lambda one: found[one]) if found else None

    def _contrast(self, bad: np.ndarray, distance_m: np.ndarray) -> float:
        """How much farther than usual an aircraft is in the bad moments, in its standard deviations."""
        if bad.all() or not bad.any():
            return 0.0
        logs = np.log(distance_m)
        return float((logs[bad].mean() - logs[~bad].mean()) / logs.std())

    def name(self, one: int) -> str:
        return self.air.fliers[one].seat.pilot.callsign
