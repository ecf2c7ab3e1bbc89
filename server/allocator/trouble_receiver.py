"""The air at the receiver of the pilot who reports trouble: loads and margins, with a cause in it or without.

Margins are those of the radio model. Kernel sums do the work; levels at the middle of the course follow from
those at the worst moment by free space.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.problem import Pilot
from server.allocator.scoring import day_gear, margin_of_load_db, margins_db, station
from server.allocator.trouble_air import Air
from server.radio import decibels
from server.radio.interference import outside_level_dbm, wanted_level_dbm
from server.radio.outside import OutsideSignal
from server.radio.propagation import free_space_loss_db
from server.radio.receiver import link_margin_db, off_tune_loss_db

OFF_TUNE_ROOM_DB = 5.0
"""Beyond it a link that is better hides no distortion."""


@dataclass(frozen=True)
class Scene:
    """Who is on where with one cause in the air, and what it does to the pilot who reports.

    members, mhz  transmitters by index of the gear, and what they are on
    gear          levels and mixing as they are then
    signal        an outside signal that the site does not have
    own_mhz       what the own transmitter is on
    weaker_db     how much weaker than planned the own signal is
    """

    members: tuple[int, ...]
    mhz: tuple[int, ...]
    gear: Gear
    own_mhz: int
    weaker_db: float = 0.0
    signal: OutsideSignal | None = None


class TroubledReceiver:
    """The heat at one receiver.

    near     so many of the gear are the heat with what is down; behind them is who is on the ground
    tuned    what those near are on as called
    half_db  half the way between near and far: all others are that much weaker there, the own signal stronger
    """

    def __init__(self, air: Air, place: int) -> None:
        self.air, self.place = air, place
        self.site = air.problem.site
        seats = [one.seat for one in air.fliers]
        self.seat = seats[place]
        self.stations = [station(seat.pilot, seat.mhz, seat.power_mw) for seat in seats]
        lost = [_lost(one.callsign, one.mhz, one.antenna, one.gain_dbi) for one in air.down]
        ground = [replace(one.pilot, pin_mhz=(), current_mhz=None) for one in air.ground]
        pilots = [replace(seat.pilot, channels_mhz=(seat.mhz,), pin_mhz=()) for seat in seats]
        self._named = [
            replace(pilot, callsign=f"{number}") for number, pilot in enumerate([*pilots, *lost, *ground])
        ]
        self._powers = [
            *(seat.power_mw for seat in seats),
            *(one.power_mw for one in air.down),
            *(one.power_mw for one in air.ground),
        ]
        self.near = len(seats) + len(lost)
        self.tuned = [*(seat.mhz for seat in seats), *(one.mhz for one in air.down)]
        near_db, pit_db = free_space_loss_db(
            [self.site.near_m, self.site.pit_m], self.site.receiver.reference_mhz
        )
        self._farther_db = float(pit_db - near_db)
        self.half_db = 10.0 * math.log10(self.site.far_m / self.site.near_m)

    @cached_property
    def gear(self) -> Gear:
        problem = replace(self.air.problem, pilots=tuple(self._named), bans_mhz=(), heats_given=None)
        gear = day_gear(problem, self._powers)
        gear.level_mw[:, self.near :] *= decibels.power_ratio(-self._farther_db)
        return gear

    @cached_property
    def planned(self) -> np.ndarray:
        """(n,) loads of all fliers as called."""
        return self.loads(self.as_called)

    @cached_property
    def as_called(self) -> Scene:
        return Scene(tuple(range(self.near)), tuple(self.tuned), self.gear, self.seat.mhz)

    def louder(self, other: int, by_db: float) -> Gear:
        """The gear with one transmitter louder; a negative number makes it weaker."""
        level_mw = self.gear.level_mw.copy()
        level_mw[:, other] *= decibels.power_ratio(by_db)
        return self.gear._replace(level_mw=level_mw)

    def retuned(self, one: int, mhz: int) -> tuple[int, ...]:
        return (*self.tuned[:one], mhz, *self.tuned[one + 1 :])

    def loads(self, scene: Scene) -> np.ndarray:
        """(n,) loads of all fliers by what is on in a scene, own faults and outside signals left out."""
        margins, _ = margins_db(scene.gear, scene.members, scene.mhz)
        return decibels.power_ratio(-margins[: len(self.air.fliers)])

    def load_without(self, other: int) -> float:
        """Load of the pilot who reports with one transmitter fewer."""
        members = [one for one in range(self.near) if one != other]
        margins, _ = margins_db(self.gear, members, [self.tuned[one] for one in members])
        return float(decibels.power_ratio(-margins[members.index(self.place)]))

    def loads_of(self, signal: OutsideSignal) -> np.ndarray:
        """(n,) what an outside signal alone does to each flier."""
        alone = replace(self.site, outside=(signal,))
        level_dbm = outside_level_dbm([one.mhz for one in self.stations], alone)[:, 0]
        wanted_dbm = np.array([wanted_level_dbm(one, self.site) for one in self.stations])
        return decibels.power_ratio(level_dbm - wanted_dbm)

    def margin_db(self, scene: Scene, far: Iterable[int] = (), nearer_db: float = 0.0) -> float:
        """Margin of the pilot who reports, in a scene.

        far        fliers, by index, who are at the far end instead of near
        nearer_db  how much stronger the own signal arrives than from the far end
        """
        level_mw = scene.gear.level_mw.copy()
        level_mw[:, list(far)] *= decibels.power_ratio(-2.0 * self.half_db)
        load = self.loads(replace(scene, gear=scene.gear._replace(level_mw=level_mw)))[self.place]
        if scene.signal is not None:
            load += self.loads_of(scene.signal)[self.place]
        lost_db = float(off_tune_loss_db(scene.own_mhz - self.seat.mhz))
        margins = [margin_of(load) + nearer_db - scene.weaker_db - lost_db]
        if scene.weaker_db:
            margins.append(self.over_noise_db(scene.weaker_db) + nearer_db)
        if scene.own_mhz != self.seat.mhz:
            margins.append(self.off_tune_db(self.place, scene.own_mhz, nearer_db))
        return min(margins)

    def over_noise_db(self, weaker_db: float) -> float:
        """What is left of the own link at the far end, beyond the allowance for fades."""
        return self._link_db(self.place) - weaker_db - self.site.receiver.fade_allowance_db

    def off_tune_db(self, one: int, mhz: int, nearer_db: float = 0.0) -> float:
        """What is left of a link when the transmitter is on another channel than the receiver.

        Cut sidebands distort the picture more than the loss of level tells: some 3 dB for each dB lost.
        """
        lost_db = float(off_tune_loss_db(mhz - self.air.fliers[one].seat.mhz))
        return min(self._link_db(one) + nearer_db - lost_db, OFF_TUNE_ROOM_DB) - 3.0 * lost_db

    def _link_db(self, one: int) -> float:
        return float(link_margin_db(wanted_level_dbm(self.stations[one], self.site), self.site.receiver))


def margin_of(load: float) -> float:
    """Margin in dB of a load; some 300 dB where there is none."""
    return float(margin_of_load_db(max(load, 1e-30)))


def margins_of(loads: Sequence[float] | np.ndarray) -> tuple[float, ...]:
    return tuple(margin_of(load) for load in loads)


def _lost(callsign: str, mhz: int, antenna: str, gain_dbi: float) -> Pilot:
    return Pilot(callsign, (mhz,), antenna=antenna, gain_dbi=gain_dbi)
