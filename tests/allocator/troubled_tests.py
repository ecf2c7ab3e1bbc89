"""What the tests of a bad picture show when somebody does them in a simulated heat: a model of its own.

The heat is that of `tests/allocator/troubled_heats.py` with its fault still there. Nothing here knows how the
program weighs an outcome. What is assumed, common practice, no source:

* the pilot flies where it was bad, the others fly on; what is seen with the change for twenty seconds is held
  against what was seen without. What comes and goes can clear by chance meanwhile; what comes too rarely cannot
  be told;
* of those who are on in the pits one in five does not hear the call;
* half of the weak links are in the goggles, where another receiver shows a clear picture;
* a picture check reads five channels with 3 dB of error while everybody else flies, and leaks into the readings;
* one test in twelve is not told, and of the others one in twelve is told wrong.
"""

import math
import random
from collections.abc import Mapping

import numpy as np

from server.allocator.trouble_tests import NO, NOT_TOLD, YES, SafeTest, names, names_loud, names_weak
from server.radio.channels import CATALOGUE
from tests.allocator.troubled_heats import OFF_TUNE, STEPS, Trouble

LEFT_OPEN, TOLD_WRONG = 1 / 12, 1 / 12
HEARS_NOTHING, CLEARS_BY_CHANCE = 0.2, 0.04
IN_THE_GOGGLES = 0.5
WATCHED_STEPS = 30
"""Twenty seconds of a flight of some three minutes."""

TOO_RARE, CLEARED = 0.08, 0.35
FOUND_OFF_MHZ, FOUND_OVER_DB = 4, 6
READ_MHZ = (-15, -8, 0, 8, 15)


class TestedHeat:
    """A heat with a fault, while its tests are done; the same test always ends the same way."""

    __test__ = False

    def __init__(self, trouble: Trouble, seed: int) -> None:
        self.flight, self.kind = trouble.flight, trouble.kind
        self.draw = random.Random(seed)
        self.flight.draw = self.draw
        self.at_goggles = trouble.kind == "link" and self.draw.random() < IN_THE_GOGGLES
        # What set in during the flight is there now.
        self.flight.still = [(*one[:4], 0.0) for one in self.flight.still]

    def outcome(self, test: SafeTest) -> str:
        """One of its outcomes, or NOT_TOLD."""
        if test.is_of_several:
            return self._of_several(test)
        shown = getattr(self, f"_{test.kind.replace(' ', '_')}")(*self._places(test.who))
        if shown is None or self.draw.random() < LEFT_OPEN:
            return NOT_TOLD
        return YES if shown != (self.draw.random() < TOLD_WRONG) else NO

    def _of_several(self, test: SafeTest) -> str:
        """Whoever shows it most plainly, or nobody."""
        found = self._who_far if test.kind == "who far" else self._sweep
        outcome = found(self._places(test.who))
        if outcome is None or self.draw.random() < LEFT_OPEN:
            return NOT_TOLD
        if self.draw.random() < TOLD_WRONG:
            return self.draw.choice([one for one in test.outcomes if one != outcome])
        return outcome

    def _who_far(self, others: list[int]) -> str | None:
        before = self._bad_share({}, STEPS)
        if before < TOO_RARE:
            return None
        left = {one: self._bad_share({one: self.flight.site.far_m}, WATCHED_STEPS) for one in others}
        best = min(left, key=lambda one: left[one])
        return names(self.flight.name(best)) if left[best] < CLEARED * before else NO

    def _sweep(self, everybody: list[int]) -> str:
        """The plainest of all that is found, each against what counts as plain."""
        found = {names(self.flight.name(one)): self._off_mhz(one) / FOUND_OFF_MHZ for one in everybody}
        for one in everybody:
            over = (self._over_label_db(one) + self.draw.gauss(0, 3)) / FOUND_OVER_DB
            callsign = self.flight.name(one)
            if one == self.flight.me:
                found[names_weak(callsign)] = -over
            else:
                found[names_loud(callsign)] = over
        plainest = max(found, key=lambda outcome: found[outcome])
        return plainest if found[plainest] > 1 else NO

    def _places(self, who: tuple[str, ...]) -> list[int]:
        return [number for number in range(len(self.flight.mhz)) if self.flight.name(number) in who]

    def _pits(self) -> bool:
        if self.kind != "pits":
            return self.draw.random() < CLEARS_BY_CHANCE
        return self.draw.random() >= HEARS_NOTHING

    def _far(self, *others: int) -> bool | None:
        return self._clears(dict.fromkeys(others, self.flight.site.far_m))

    _all_far = _far

    def _nearer(self) -> bool | None:
        return self._clears({self.flight.me: self._where_it_was_bad_m() / 2})

    def _other_receiver(self) -> bool | None:
        flight = self.flight
        before = self._bad_share({}, STEPS)
        if before < TOO_RARE:
            return None
        usual, weak = (flight.iip3_dbm, flight.mix), flight.eirp_dbm[flight.me]
        flight.iip3_dbm, flight.mix = self.draw.gauss(-10, 3), self.draw.random()
        if self.at_goggles:
            flight.eirp_dbm[flight.me] = flight.usual[1][flight.me]
        there = self._bad_share({}, STEPS)
        (flight.iip3_dbm, flight.mix), flight.eirp_dbm[flight.me] = usual, weak
        return there > CLEARED * before

    def _channel(self, one: int) -> bool:
        return self._off_mhz(one) <= FOUND_OFF_MHZ

    def _off_mhz(self, one: int) -> int:
        """How far off its channel a carrier is found, by readings of the catalogue channels around."""
        given = self.flight.air.fliers[one].seat.mhz
        near = sorted({channel.mhz for channel in CATALOGUE if abs(channel.mhz - given) <= 22})
        read_mhz = sorted({min(near, key=lambda mhz: abs(mhz - given - off)) for off in READ_MHZ})
        distances = self._elsewhere() | {one: 2 * self.flight.site.near_m}
        read_db = [self._heard_dbm(mhz, distances) + self.draw.gauss(0, 3) for mhz in read_mhz]

        def misfit(carrier: int) -> float:
            return float(np.std(read_db + np.interp(np.abs(np.array(read_mhz) - carrier), *OFF_TUNE)))

        return abs(min(range(given - 25, given + 26), key=misfit) - given)

    def _level(self, other: int) -> bool:
        over_db = self._over_label_db(self.flight.me) - self._over_label_db(other)
        return over_db + self.draw.gauss(0, 3) < -FOUND_OVER_DB

    def _over_label_db(self, one: int) -> float:
        """How much stronger than its label a transmitter is read on its channel as given."""
        flight = self.flight
        seat = flight.air.fliers[one].seat
        is_well = self.at_goggles and one == flight.me
        true_dbm = flight.usual[1][one] if is_well else flight.eirp_dbm[one]
        lost_db = float(np.interp(abs(flight.mhz[one] - seat.mhz), *OFF_TUNE))
        return true_dbm - lost_db - 10 * math.log10(seat.power_mw)

    def _landed(self) -> bool:
        tuned = self.flight.air.fliers[self.flight.me].seat.mhz
        distances = {one: far for one, far in self._elsewhere().items() if one != self.flight.me}
        return self._heard_dbm(tuned, distances) > -85 + self.draw.gauss(0, 4)

    def _clears(self, moved_m: Mapping[int, float]) -> bool | None:
        before = self._bad_share({}, STEPS)
        if before < TOO_RARE:
            return None
        return self._bad_share(moved_m, WATCHED_STEPS) < CLEARED * before

    def _bad_share(self, moved_m: Mapping[int, float], steps: int) -> float:
        """Of so many steps on end, with the pilot where it was bad and these at fixed distances."""
        distances = {one: self.flight.distances_m() for one in self.flight.others}
        fixed_m = {self.flight.me: self._where_it_was_bad_m(), **moved_m}
        distances |= {one: np.full(STEPS, far_m) for one, far_m in fixed_m.items()}
        begins = self.draw.randint(0, STEPS - steps)
        seen = self.flight.seen(self.flight.me, distances)[begins : begins + steps]
        return float((seen > 0).mean())

    def _where_it_was_bad_m(self) -> float:
        far, seen = self.flight.flown
        return float(np.median(far[self.flight.me][seen > 0]))

    def _elsewhere(self) -> dict[int, float]:
        """Where everybody is at some moment, in m."""
        places = range(len(self.flight.mhz))
        return {one: float(self.draw.choice(self.flight.distances_m())) for one in places}

    def _heard_dbm(self, tuned: int, distances_m: Mapping[int, float]) -> float:
        """What a receiver reads on a channel, of everything that is on."""
        flight = self.flight
        levels = [
            float(flight.level_dbm(flight.eirp_dbm[one], far_m))
            - np.interp(abs(flight.mhz[one] - tuned), *OFF_TUNE)
            for one, far_m in distances_m.items()
        ]
        for mhz, level_dbm, width, *_ in flight.still:
            levels.append(level_dbm - np.interp(max(0.0, abs(mhz - tuned) - width / 2), *OFF_TUNE))
        return 10 * math.log10(sum(10 ** (level / 10) for level in levels) + 1e-12)
