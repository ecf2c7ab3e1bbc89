"""What each cause that comes into question would do at the receiver of the pilot who reports trouble.

Margins are those of the radio model, computed with the cause in place: carriers and products of everybody who is
then on.
"""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.advice import Seat
from server.allocator.problem import Pilot
from server.allocator.trouble_air import OnGround
from server.allocator.trouble_rates import (
    HOT,
    IN_THE_PITS,
    IN_THE_PITS_NEXT,
    IN_THE_PITS_ON,
    LOUD,
    NOTED_SIGNAL,
    ON_ITS_LAST_CHANNEL,
    POOR_RECEIVER,
    SIGNAL_NOT_NOTED,
    SOONER_DB,
    STILL_ON,
    TOO_LOUD_DB,
    USUAL_SIGNAL,
    WEAK_LINK,
    WEAKER_DB,
    WRONG_CHANNEL,
    WRONG_CHANNEL_CONFIRMED,
)
from server.allocator.trouble_receiver import Scene, TroubledReceiver, margin_of, margins_of
from server.allocator.trouble_signs import PICTURE_WITHIN_MHZ, Character, Effect
from server.radio import decibels
from server.radio.channels import TWIN_MHZ, lookalikes
from server.radio.interference import heat_margins
from server.radio.outside import OutsideSignal
from server.radio.receiver import off_tune_loss_db
from server.radio.site import with_receiver

MOST_PRODUCTS = 4
REACH_MHZ = 45
"""A carrier farther off does what it does at the floor of the protection ratio, whatever its channel."""

FAINT_DB = 25.0
"""A cause that alone leaves more than this is none."""


@dataclass(frozen=True)
class Suspicion:
    """One cause in one form, with its rate and its effect; see `trouble.Cause` for kind, who and mhz.

    everybody_db  margins of all fliers, in their order, if it were so
    scene         the air with it
    """

    kind: str
    who: tuple[str, ...]
    mhz: int | None
    rate: float
    effect: Effect
    everybody_db: tuple[float, ...]
    scene: Scene


def suspicions(heard: TroubledReceiver) -> tuple[Suspicion, ...]:
    """Every cause in every form for the pilot of this receiver, without those that can do nothing."""
    reading = _Suspects(heard)
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


class _Suspects:
    """The causes at one receiver, kind by kind."""

    def __init__(self, heard: TroubledReceiver) -> None:
        self.heard, self.air, self.place = heard, heard.air, heard.place

    def carriers(self) -> Iterator[Suspicion]:
        for other, flier in enumerate(self.air.fliers):
            if other == self.place:
                continue
            without = self.heard.load_without(other)
            for louder_db, rate in _louder_db(flier.seat).items():
                scene = replace(self.heard.as_called, gear=self.heard.louder(other, louder_db))
                loads = self.heard.loads(scene)
                loads[other] *= decibels.power_ratio(-louder_db)
                yield self._moving("carrier", other, flier.seat.mhz, rate, without, loads, scene)

    def products(self) -> Iterator[Suspicion]:
        """The strongest products, by their makers, in a receiver that is overloaded sooner."""
        site = self.heard.site
        for sooner_db in SOONER_DB:
            poor = with_receiver(site, iip3_dbm=max(-40.0, site.receiver.iip3_dbm - sooner_db))
            mixing = float(decibels.power_ratio(-2.0 * poor.receiver.iip3_dbm))
            scene = replace(self.heard.as_called, gear=self.heard.gear._replace(mixing=mixing))
            slot = heat_margins(self.heard.stations, poor).slots[self.place]
            loads: defaultdict[frozenset[str], float] = defaultdict(float)
            for term in slot.terms:
                if term.kind == "products":
                    loads[frozenset(term.of)] += float(decibels.power_ratio(-term.margin_db))
            whole = sum(loads.values())
            for makers in sorted(loads, key=lambda makers: (-loads[makers], sorted(makers)))[:MOST_PRODUCTS]:
                # What is noticed is put down to the products together: the receiver is the fault.
                alone_db = margin_of(whole)
                margin_db = alone_db if slot.margin_db is None else slot.margin_db
                # A product falls by three times what its makers do.
                effect = Effect(alone_db, alone_db + 4.0 * self.heard.half_db, margin_db, "beat", True)
                rate = POOR_RECEIVER / len(SOONER_DB) * loads[makers] / whole
                names, everybody = tuple(sorted(makers)), self._with_mine(margin_db)
                yield Suspicion("product", names, None, rate, effect, everybody, scene)

    def wrong_channels(self) -> Iterator[Suspicion]:
        for other, flier in enumerate(self.air.fliers):
            choices = _wrong(flier.seat.pilot, flier.seat.mhz)
            if other == self.place or not choices:
                continue
            rate = (WRONG_CHANNEL_CONFIRMED if flier.is_confirmed else WRONG_CHANNEL) / len(choices)
            without = self.heard.load_without(other)
            for mhz in choices:
                scene = replace(self.heard.as_called, mhz=self.heard.retuned(other, mhz))
                loads = self.heard.loads(scene)
                # Its own pilot looks at the channel as called, and sees what an off-tune receiver shows.
                loads[other] = decibels.power_ratio(-self.heard.off_tune_db(other, mhz))
                yield self._moving("wrong channel", other, mhz, rate, without, loads, scene)

    def pits(self) -> Iterator[Suspicion]:
        called = self.heard.as_called
        for number, one in enumerate(self.air.ground, start=self.heard.near):
            rate = IN_THE_PITS_ON if one.is_on else IN_THE_PITS_NEXT if one.is_next else IN_THE_PITS
            for mhz, share in _may_be_on(one, self.heard.seat.mhz):
                scene = replace(called, members=(*called.members, number), mhz=(*called.mhz, mhz))
                loads = self.heard.loads(scene)
                effect = self._effect(self.heard.planned[self.place], loads, mhz, moves=False)
                name = one.pilot.callsign
                yield Suspicion("pits", (name,), mhz, rate * share, effect, margins_of(loads), scene)

    def lost(self) -> Iterator[Suspicion]:
        planned, scene = self.heard.planned, self.heard.as_called
        for number, one in enumerate(self.air.down, start=len(self.air.fliers)):
            effect = self._effect(self.heard.load_without(number), planned, one.mhz, moves=False)
            yield Suspicion("down", (one.callsign,), one.mhz, STILL_ON, effect, margins_of(planned), scene)

    def own_channels(self) -> Iterator[Suspicion]:
        seat, called = self.heard.seat, self.heard.as_called
        choices = _wrong(seat.pilot, seat.mhz)
        confirmed = self.air.fliers[self.place].is_confirmed
        rate = WRONG_CHANNEL_CONFIRMED if confirmed else WRONG_CHANNEL
        for mhz in choices:
            loads = self.heard.loads(replace(called, mhz=self.heard.retuned(self.place, mhz)))
            alone_db = self.heard.off_tune_db(self.place, mhz)
            loads[self.place] = max(
                decibels.power_ratio(-alone_db),
                self.heard.planned[self.place] * decibels.power_ratio(off_tune_loss_db(mhz - seat.mhz)),
            )
            everybody, scene = margins_of(loads), replace(called, own_mhz=mhz)
            usual_db = alone_db + self.heard.half_db
            effect = Effect(alone_db, usual_db, everybody[self.place], "off tune", False)
            name = seat.pilot.callsign
            yield Suspicion("own channel", (name,), mhz, rate / len(choices), effect, everybody, scene)

    def links(self) -> Iterator[Suspicion]:
        """A weak signal drowns in noise, or before that in what the others send."""
        half_db = self.heard.half_db
        for weaker_db in WEAKER_DB:
            noise_db = self.heard.over_noise_db(weaker_db)
            others_db = margin_of(self.heard.planned[self.place]) - weaker_db
            if noise_db <= others_db:
                effect = Effect(noise_db, noise_db + half_db, noise_db, "noise", False)
            else:
                effect = Effect(others_db, others_db + 2.0 * half_db, others_db, "beat", True)
            rate, name = WEAK_LINK / len(WEAKER_DB), self.heard.seat.pilot.callsign
            everybody = self._with_mine(effect.margin_db)
            scene = replace(self.heard.as_called, weaker_db=weaker_db)
            yield Suspicion("link", (name,), None, rate, effect, everybody, scene)

    def outside(self) -> Iterator[Suspicion]:
        mhz, site = self.heard.seat.mhz, self.heard.site
        width_mhz, level_dbm = USUAL_SIGNAL
        usual = OutsideSignal(mhz, width_mhz, level_dbm)
        is_noted = any(abs(one.centre_mhz - mhz) <= REACH_MHZ for one in site.outside)
        rates = [(one, NOTED_SIGNAL) for one in site.outside]
        rates.append((usual, SIGNAL_NOT_NOTED / 2.0 if is_noted else SIGNAL_NOT_NOTED))
        for one, rate in rates:
            parts = self.heard.loads_of(one)
            was_noted = one in site.outside
            loads = self.heard.planned if was_noted else self.heard.planned + parts
            scene = replace(self.heard.as_called, signal=None if was_noted else one)
            for character, share in _characters(one):
                effect = self._shaped(parts[self.place], loads, character, moves=False)
                where = round(one.centre_mhz)
                everybody = margins_of(loads)
                yield Suspicion("outside", (one.words,), where, rate * share, effect, everybody, scene)

    def _moving(
        self, kind: str, other: int, mhz: int, rate: float, without: float, loads: np.ndarray, scene: Scene
    ) -> Suspicion:
        name = self.air.fliers[other].seat.pilot.callsign
        effect = self._effect(without, loads, mhz, moves=True)
        return Suspicion(kind, (name,), mhz, rate, effect, margins_of(loads), scene)

    def _effect(self, without: float, loads: np.ndarray, mhz: int, moves: bool) -> Effect:
        """Of a carrier on a channel; without: the load of the receiver were it not there."""
        is_near = abs(mhz - self.heard.seat.mhz) <= PICTURE_WITHIN_MHZ
        part = loads[self.place] - without
        return self._shaped(part, loads, "picture" if is_near else "beat", moves)

    def _shaped(self, part: float, loads: np.ndarray, character: Character, moves: bool) -> Effect:
        alone_db = margin_of(part)
        usual_db = alone_db + self.heard.half_db * (2.0 if moves else 1.0)
        return Effect(alone_db, usual_db, margin_of(loads[self.place]), character, moves)

    def _with_mine(self, margin_db: float) -> tuple[float, ...]:
        """Everybody as called, and the pilot who reports with this margin."""
        everybody = list(margins_of(self.heard.planned))
        everybody[self.place] = margin_db
        return tuple(everybody)


def _louder_db(seat: Seat) -> dict[float, float]:
    """How much louder than planned a transmitter may be, each with its rate; as planned among them."""
    highest_db = 10.0 * math.log10(max(seat.pilot.power_steps_mw) / seat.power_mw)
    if highest_db > 0.0:
        return {0.0: HOT, highest_db: LOUD}
    return {0.0: HOT, TOO_LOUD_DB: HOT}


def _wrong(pilot: Pilot, mhz: int) -> list[int]:
    """Channels that the gear tunes and that look right on the bench, twins left out, which are right."""
    near = {one.mhz for one in lookalikes(mhz) if abs(one.mhz - mhz) > TWIN_MHZ}
    return sorted(near & set(pilot.channels_mhz))


def _may_be_on(one: OnGround, tuned_mhz: int) -> list[tuple[int, float]]:
    """Channels within reach of a receiver that a set on the ground may come up on, each with its share."""
    tunes = one.pilot.channels_mhz
    known = 0.0 if one.mhz is None else ON_ITS_LAST_CHANNEL
    shares = {mhz: (1.0 - known) / len(tunes) for mhz in tunes}
    if one.mhz is not None:
        shares[one.mhz] = shares.get(one.mhz, 0.0) + known
    return [(mhz, share) for mhz, share in sorted(shares.items()) if abs(mhz - tuned_mhz) <= REACH_MHZ]


def _characters(one: OutsideSignal) -> list[tuple[Character, float]]:
    """A wide block is noise; a narrow one may be somebody's picture as well."""
    if one.width_mhz > PICTURE_WITHIN_MHZ:
        return [("noise", 1.0)]
    return [("picture", 0.4), ("beat", 0.4), ("noise", 0.2)]
