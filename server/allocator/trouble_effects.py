"""What each cause that comes into question would do at the receiver of the pilot who reports trouble.

Margins are those of the radio model, computed with the cause in place: carriers and products of everybody who is
then on. Kernel sums do the work; levels at the middle of the course follow from those at the worst moment by free
space. Rates are how often a cause happens in one heat: common practice, no source.
"""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from server.allocator.advice import Seat
from server.allocator.kernel import Gear
from server.allocator.problem import Pilot
from server.allocator.scoring import day_gear, margin_of_load_db, margins_db, station
from server.allocator.trouble_air import Air, OnGround
from server.allocator.trouble_signs import PICTURE_WITHIN_MHZ, Character, Effect
from server.radio import decibels
from server.radio.channels import TWIN_MHZ, lookalikes
from server.radio.interference import heat_margins, outside_level_dbm, wanted_level_dbm
from server.radio.outside import OutsideSignal
from server.radio.propagation import free_space_loss_db
from server.radio.receiver import link_margin_db, off_tune_loss_db
from server.radio.site import with_receiver

WRONG_CHANNEL, WRONG_CHANNEL_CONFIRMED = 0.08, 0.005
"""A pilot is on a neighbour channel: with the channel never seen, and seen since its last change."""

IN_THE_PITS, IN_THE_PITS_NEXT = 0.004, 0.012
"""Somebody who does not fly switches on; somebody who is next, or has just landed."""

ON_ITS_LAST_CHANNEL = 0.7
"""Of those; the rest is spread over all that the gear tunes."""

LOUD, HOT, TOO_LOUD_DB = 0.05, 0.01, 6.0
"""A transmitter is left on its highest step; it is so much hotter than its label, where it has none above."""

POOR_RECEIVER, SOONER_DB = 0.03, (10.0, 16.0)
"""The own receiver is overloaded so much sooner, one as likely as the other."""

WEAK_LINK, WEAKER_DB = 0.03, (10.0, 17.0)
"""The own signal is so much weaker (an antenna, a body in between, power left in the pit step)."""

STILL_ON, NOTED_SIGNAL, SIGNAL_NOT_NOTED = 0.15, 0.1, 0.005
USUAL_SIGNAL = (10.0, -75.0)
"""Width in MHz and level in dBm of a signal that nobody noted, right on the channel."""

MOST_PRODUCTS = 4
REACH_MHZ = 45
"""A carrier farther off does what it does at the floor of the protection ratio, whatever its channel."""

OFF_TUNE_ROOM_DB = 5.0
"""Beyond it a link that is better hides no distortion."""

FAINT_DB = 25.0
"""A cause that alone leaves more than this is none."""


@dataclass(frozen=True)
class Suspicion:
    """One cause in one form, with its rate and its effect; see `trouble.Cause` for kind, who and mhz.

    everybody_db  margins of all fliers, in their order, if it were so
    """

    kind: str
    who: tuple[str, ...]
    mhz: int | None
    rate: float
    effect: Effect
    everybody_db: tuple[float, ...]


def suspicions(air: Air, place: int) -> tuple[Suspicion, ...]:
    """Every cause in every form for the pilot at this place of the heat, without those that can do nothing."""
    reading = _Reading(air, place)
    found = [
        *reading.carriers(),
        *reading.products(),
        *reading.wrong_channels(),
        *reading.pits(),
        *reading.lost(),
        *reading.own_channels(),
        *reading.links(),
        *reading.outside(),
    ]
    return tuple(one for one in found if one.effect.alone_db < FAINT_DB)


class _Reading:
    """The heat at one receiver. `near` is the heat with what is down, `crowd` everybody with the ground."""

    def __init__(self, air: Air, place: int) -> None:
        self.air, self.place = air, place
        self.site = air.problem.site
        seats = [one.seat for one in air.fliers]
        self.seat = seats[place]
        self.stations = [station(seat.pilot, seat.mhz, seat.power_mw) for seat in seats]
        lost = [_lost(one.callsign, one.mhz, one.antenna, one.gain_dbi) for one in air.down]
        ground = [replace(one.pilot, pin_mhz=(), current_mhz=None) for one in air.ground]
        pilots = [replace(seat.pilot, channels_mhz=(seat.mhz,), pin_mhz=()) for seat in seats]
        self.named = [
            replace(pilot, callsign=f"{number}") for number, pilot in enumerate([*pilots, *lost, *ground])
        ]
        self.powers = [
            *(seat.power_mw for seat in seats),
            *(one.power_mw for one in air.down),
            *(one.power_mw for one in air.ground),
        ]
        self.near = len(seats) + len(lost)
        self.tuned = [*(seat.mhz for seat in seats), *(one.mhz for one in air.down)]
        near_db, pit_db = free_space_loss_db(
            [self.site.near_m, self.site.pit_m], self.site.receiver.reference_mhz
        )
        self.farther_db = float(pit_db - near_db)
        # Half the way between near and far, in dB: all others are that much weaker there, the own one stronger.
        self.half_db = 10.0 * math.log10(self.site.far_m / self.site.near_m)

    @cached_property
    def gear(self) -> Gear:
        problem = replace(
            self.air.problem.with_pilots(tuple(self.named)), bans_mhz=(), heats_given=None, one_heat=False
        )
        gear = day_gear(problem, self.powers)
        gear.level_mw[:, self.near :] *= decibels.power_ratio(-self.farther_db)
        return gear

    @cached_property
    def planned(self) -> np.ndarray:
        """(n,) loads of all fliers as called."""
        return self._loads(range(self.near), self.tuned, self.gear)

    def carriers(self) -> Iterator[Suspicion]:
        for other, flier in enumerate(self.air.fliers):
            if other == self.place:
                continue
            seat = flier.seat
            without = self._load_without(other)
            for louder_db, rate in _louder_db(seat).items():
                level_mw = self.gear.level_mw.copy()
                level_mw[:, other] *= decibels.power_ratio(louder_db)
                loads = self._loads(range(self.near), self.tuned, self.gear._replace(level_mw=level_mw))
                loads[other] *= decibels.power_ratio(-louder_db)
                yield self._moving("carrier", other, seat.mhz, rate, without, loads)

    def products(self) -> Iterator[Suspicion]:
        """The strongest products, by their makers, in a receiver that is overloaded sooner."""
        for sooner_db in SOONER_DB:
            poor = with_receiver(self.site, iip3_dbm=max(-40.0, self.site.receiver.iip3_dbm - sooner_db))
            slot = heat_margins(self.stations, poor).slots[self.place]
            loads: defaultdict[frozenset[str], float] = defaultdict(float)
            for term in slot.terms:
                if term.kind == "products":
                    loads[frozenset(term.of)] += float(decibels.power_ratio(-term.margin_db))
            whole = sum(loads.values())
            for makers in sorted(loads, key=lambda makers: (-loads[makers], sorted(makers)))[:MOST_PRODUCTS]:
                # What is noticed is put down to the products together: the receiver is the fault.
                alone_db = _margin(whole)
                margin_db = alone_db if slot.margin_db is None else slot.margin_db
                # A product falls by three times what its makers do.
                effect = Effect(alone_db, alone_db + 4.0 * self.half_db, margin_db, "beat", True)
                rate = POOR_RECEIVER / len(SOONER_DB) * loads[makers] / whole
                names, everybody = tuple(sorted(makers)), self._with_mine(margin_db)
                yield Suspicion("product", names, None, rate, effect, everybody)

    def wrong_channels(self) -> Iterator[Suspicion]:
        for other, flier in enumerate(self.air.fliers):
            choices = _wrong(flier.seat.pilot, flier.seat.mhz)
            if other == self.place or not choices:
                continue
            rate = (WRONG_CHANNEL_CONFIRMED if flier.is_confirmed else WRONG_CHANNEL) / len(choices)
            without = self._load_without(other)
            for mhz in choices:
                loads = self._loads(range(self.near), self._retuned(other, mhz), self.gear)
                # Its own pilot looks at the channel as called, and sees what an off-tune receiver shows.
                loads[other] = decibels.power_ratio(-self._off_tune_db(other, mhz))
                yield self._moving("wrong channel", other, mhz, rate, without, loads)

    def pits(self) -> Iterator[Suspicion]:
        for number, one in enumerate(self.air.ground, start=self.near):
            rate = IN_THE_PITS_NEXT if one.is_next else IN_THE_PITS
            for mhz, share in _may_be_on(one, self.seat.mhz):
                loads = self._loads([*range(self.near), number], [*self.tuned, mhz], self.gear)
                effect = self._effect(self.planned[self.place], loads, mhz, moves=False)
                name = one.pilot.callsign
                yield Suspicion("pits", (name,), mhz, rate * share, effect, _margins(loads))

    def lost(self) -> Iterator[Suspicion]:
        for number, one in enumerate(self.air.down, start=len(self.air.fliers)):
            effect = self._effect(self._load_without(number), self.planned, one.mhz, moves=False)
            yield Suspicion("down", (one.callsign,), one.mhz, STILL_ON, effect, _margins(self.planned))

    def own_channels(self) -> Iterator[Suspicion]:
        choices = _wrong(self.seat.pilot, self.seat.mhz)
        confirmed = self.air.fliers[self.place].is_confirmed
        rate = WRONG_CHANNEL_CONFIRMED if confirmed else WRONG_CHANNEL
        for mhz in choices:
            loads = self._loads(range(self.near), self._retuned(self.place, mhz), self.gear)
            alone_db = self._off_tune_db(self.place, mhz)
            loads[self.place] = max(
                decibels.power_ratio(-alone_db),
                self.planned[self.place] * decibels.power_ratio(off_tune_loss_db(mhz - self.seat.mhz)),
            )
            everybody = _margins(loads)
            effect = Effect(alone_db, alone_db + self.half_db, everybody[self.place], "off tune", False)
            name = self.seat.pilot.callsign
            yield Suspicion("own channel", (name,), mhz, rate / len(choices), effect, everybody)

    def links(self) -> Iterator[Suspicion]:
        """A weak signal drowns in noise, or before that in what the others send."""
        for weaker_db in WEAKER_DB:
            noise_db = self._link_db(self.place) - weaker_db - self.site.receiver.fade_allowance_db
            others_db = _margin(self.planned[self.place]) - weaker_db
            if noise_db <= others_db:
                effect = Effect(noise_db, noise_db + self.half_db, noise_db, "noise", False)
            else:
                effect = Effect(others_db, others_db + 2.0 * self.half_db, others_db, "beat", True)
            rate, name = WEAK_LINK / len(WEAKER_DB), self.seat.pilot.callsign
            everybody = self._with_mine(effect.margin_db)
            yield Suspicion("link", (name,), None, rate, effect, everybody)

    def outside(self) -> Iterator[Suspicion]:
        width_mhz, level_dbm = USUAL_SIGNAL
        usual = OutsideSignal(self.seat.mhz, width_mhz, level_dbm)
        is_noted = any(abs(one.centre_mhz - self.seat.mhz) <= REACH_MHZ for one in self.site.outside)
        rates = [(one, NOTED_SIGNAL) for one in self.site.outside]
        rates.append((usual, SIGNAL_NOT_NOTED / 2.0 if is_noted else SIGNAL_NOT_NOTED))
        for one, rate in rates:
            parts = self._loads_of(one)
            loads = self.planned if one in self.site.outside else self.planned + parts
            for character, share in _characters(one):
                effect = self._shaped(parts[self.place], loads, character, moves=False)
                where = round(one.centre_mhz)
                yield Suspicion("outside", (one.words,), where, rate * share, effect, _margins(loads))

    def _moving(
        self, kind: str, other: int, mhz: int, rate: float, without: float, loads: np.ndarray
    ) -> Suspicion:
        name = self.air.fliers[other].seat.pilot.callsign
        effect = self._effect(without, loads, mhz, moves=True)
        return Suspicion(kind, (name,), mhz, rate, effect, _margins(loads))

    def _effect(self, without: float, loads: np.ndarray, mhz: int, moves: bool) -> Effect:
        """Of a carrier on a channel; without: the load of the receiver were it not there."""
        is_near = abs(mhz - self.seat.mhz) <= PICTURE_WITHIN_MHZ
        part = loads[self.place] - without
        return self._shaped(part, loads, "picture" if is_near else "beat", moves)

    def _shaped(self, part: float, loads: np.ndarray, character: Character, moves: bool) -> Effect:
        alone_db = _margin(part)
        usual_db = alone_db + self.half_db * (2.0 if moves else 1.0)
        return Effect(alone_db, usual_db, _margin(loads[self.place]), character, moves)

    def _retuned(self, one: int, mhz: int) -> list[int]:
        return [*self.tuned[:one], mhz, *self.tuned[one + 1 :]]

    def _loads(self, members: range | list[int], mhz: list[int], gear: Gear) -> np.ndarray:
        """(n,) loads of all fliers, with these on these frequencies."""
        margins, _ = margins_db(gear, members, mhz)
        return decibels.power_ratio(-margins[: len(self.air.fliers)])

    def _load_without(self, other: int) -> float:
        """Load of the pilot who reports with one transmitter fewer."""
        members = [one for one in range(self.near) if one != other]
        margins, _ = margins_db(self.gear, members, [self.tuned[one] for one in members])
        return float(decibels.power_ratio(-margins[members.index(self.place)]))

    def _loads_of(self, signal: OutsideSignal) -> np.ndarray:
        """(n,) what an outside signal alone does to each flier."""
        alone = replace(self.site, outside=(signal,))
        level_dbm = outside_level_dbm([one.mhz for one in self.stations], alone)[:, 0]
        wanted_dbm = np.array([wanted_level_dbm(one, self.site) for one in self.stations])
        return decibels.power_ratio(level_dbm - wanted_dbm)

    def _with_mine(self, margin_db: float) -> tuple[float, ...]:
        """Everybody as called, and the pilot who reports with this margin."""
        everybody = list(_margins(self.planned))
        everybody[self.place] = margin_db
        return tuple(everybody)

    def _off_tune_db(self, one: int, mhz: int) -> float:
        """What is left of a link when the transmitter is on another channel than the receiver.

        Cut sidebands distort the picture more than the loss of level tells: some 3 dB for each dB lost.
        """
        lost_db = float(off_tune_loss_db(mhz - self.air.fliers[one].seat.mhz))
        return min(self._link_db(one) - lost_db, OFF_TUNE_ROOM_DB) - 3.0 * lost_db

    def _link_db(self, one: int) -> float:
        return float(link_margin_db(wanted_level_dbm(self.stations[one], self.site), self.site.receiver))


def _louder_db(seat: Seat) -> dict[float, float]:
    """How much louder than planned a transmitter may be, each with its rate; as planned among them."""
    highest_db = 10.0 * math.log10(max(seat.pilot.power_steps_mw) / seat.power_mw)
    if highest_db > 0.0:
        return {0.0: HOT, highest_db: LOUD}
    return {0.0: HOT, TOO_LOUD_DB: HOT}


def _margin(load: float) -> float:
    return float(margin_of_load_db(max(load, 1e-30)))


def _margins(loads: np.ndarray) -> tuple[float, ...]:
    return tuple(_margin(load) for load in loads)


def _wrong(pilot: Pilot, mhz: int) -> list[int]:
    """Channels that the gear tunes and that look right on the bench, twins left out, which are right."""
    near = {one.mhz for one in lookalikes(mhz) if abs(one.mhz - mhz) > TWIN_MHZ}
    return sorted(near & set(pilot.channels_mhz))


def _may_be_on(one: OnGround, tuned_mhz: int) -> list[tuple[int, float]]:
    """Channels within reach of a receiver that a set on the ground may come up on, each with its share."""
    tunes = one.pilot.channels_mhz
    last = one.mhz if one.mhz is not None else None
    shares = dict.fromkeys(tunes, (1.0 - ON_ITS_LAST_CHANNEL if last else 1.0) / max(1, len(tunes)))
    if last is not None:
        shares[last] = shares.get(last, 0.0) + ON_ITS_LAST_CHANNEL
    return [(mhz, share) for mhz, share in sorted(shares.items()) if abs(mhz - tuned_mhz) <= REACH_MHZ]


def _characters(one: OutsideSignal) -> list[tuple[Character, float]]:
    """A wide block is noise; a narrow one may be somebody's picture as well."""
    if one.width_mhz > PICTURE_WITHIN_MHZ:
        return [("noise", 1.0)]
    return [("picture", 0.4), ("beat", 0.4), ("noise", 0.2)]


def _lost(callsign: str, mhz: int, antenna: str, gain_dbi: float) -> Pilot:
    return Pilot(callsign, (mhz,), antenna=antenna, gain_dbi=gain_dbi)
