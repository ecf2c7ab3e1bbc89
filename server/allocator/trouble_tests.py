"""The quick safe tests of a bad picture, and how likely each outcome is under each cause.

Nobody powers anything off in the air for any of them: aircraft fly to the far end or nearer, a second receiver is
looked at, people on the ground are asked. Margins before and during a test come from the same scenes as the causes
do. Common practice, no source, for every constant: how long a test takes, how often people misread.

    pits            ask the pits; yes: somebody was on there, went off, and the picture cleared
    far             one who flies goes to the far end; yes: the picture cleared
    who far         all others do, one after the other; it is whoever cleared it, or nobody
    all far         everybody else does; yes: the picture cleared
    nearer          the pilot flies at half the distance; yes: the picture cleared
    other receiver  another receiver on the same channel; yes: it shows the same
    channel         a picture check of one who flies near meanwhile; yes: on the channel it was given
    sweep           a picture check of all, as each flies past the same spot: who is off its channel, who plainly
                    too loud, whether the pilot is plainly too weak, or none
    level           the pilot's level against somebody else's at the same distance; yes: plainly weaker
    still on        the channel of a lost transmitter; yes: its picture is still there
    landed          the pilot has landed and is off; yes: something is still on the channel
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.allocator.trouble_effects import Suspicion
from server.allocator.trouble_receiver import TroubledReceiver
from server.allocator.trouble_signs import NOTICED_AT_DB, noticed
from server.radio import decibels
from server.radio.receiver import off_tune_loss_db

YES, NO, NOT_TOLD = "yes", "no", "could not tell"

SECONDS = {
    "pits": 15.0,
    "far": 20.0,
    "who far": 15.0,
    "all far": 40.0,
    "nearer": 15.0,
    "other receiver": 20.0,
    "channel": 30.0,
    "sweep": 15.0,
    "level": 30.0,
    "still on": 20.0,
    "landed": 180.0,
}
"""How long each test takes; one that goes through several pilots, for each."""

MISSEEN, MISREAD = 0.08, 0.05
"""Wrong outcomes: of looking at a picture, and of reading a receiver."""

COMES_AND_GOES, STAYS = 0.25, 0.05
"""Chance that a picture clears by itself while a test lasts: where its cause flies and is seen when near; else."""

OWNS_UP, FALSE_ALARM = 0.85, 0.03
"""Somebody who is on in the pits hears the call and knows; the picture clears as somebody else there goes off."""

HALF_THE_DISTANCE_DB = 20.0 * math.log10(2.0)

IN_THE_RECEIVER = 0.4
"""Of weak links: an antenna or a plug at the goggles, which another receiver does not share."""

WITHIN_MHZ, READ_TO_MHZ = 4.0, 2.0
"""A picture check passes a carrier so close to its channel; error of where it finds one."""

PLAIN_DB, LEVEL_TO_DB = 6.0, 3.0
"""What is plainly weaker or louder; error of a comparison of two levels, with labels and antennas in it."""

STILL_ON_UNRELATED = 0.5
"""A lost transmitter that causes nothing is on still as often as not."""

SOMETHING_AT_DBM, SOMETHING_TO_DB = -85.0, 5.0
"""Level at which half of all people see that something is on a channel, and how far receivers smear that."""


@dataclass(frozen=True)
class SafeTest:
    """One test: its kind as listed above, who takes part beside the pilot who reports, how long it takes in s."""

    kind: str
    who: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        return " ".join((self.kind, *self.who))

    @property
    def is_of_several(self) -> bool:
        """It goes through several pilots and names one, or nobody; else it ends with yes or no."""
        return self.kind in ("who far", "sweep")

    @property
    def seconds(self) -> float:
        return SECONDS[self.kind] * (len(self.who) if self.is_of_several else 1)

    @property
    def outcomes(self) -> tuple[str, ...]:
        """What it can end with, beside NOT_TOLD, which tells nothing."""
        if not self.is_of_several:
            return YES, NO
        named = tuple(names(one) for one in self.who)
        if self.kind == "who far":
            return NO, *named
        return NO, *named, *(names_loud(one) for one in self.who[1:]), names_weak(self.who[0])


def names(callsign: str) -> str:
    """The outcome that names one pilot: who cleared the picture, or who is off the channel."""
    return f"it is {callsign}"


def names_loud(callsign: str) -> str:
    """The outcome of a sweep that somebody is plainly louder than planned."""
    return f"too loud: {callsign}"


def names_weak(callsign: str) -> str:
    """The outcome of a sweep that the pilot who reports is plainly weaker than planned."""
    return f"too weak: {callsign}"


def safe_tests(heard: TroubledReceiver) -> tuple[SafeTest, ...]:
    """Every test that can be done for the pilot of this receiver."""
    names = [one.seat.pilot.callsign for one in heard.air.fliers]
    me = names[heard.place]
    others = [name for name in names if name != me]
    found = [SafeTest("nearer"), SafeTest("other receiver"), SafeTest("landed"), SafeTest("channel", (me,))]
    if heard.air.ground:
        found.append(SafeTest("pits"))
    found.extend(SafeTest(kind, (name,)) for name in others for kind in ("far", "channel"))
    if len(others) > 1:
        found.append(SafeTest("all far", tuple(others)))
        found.append(SafeTest("who far", tuple(others)))
    if others:
        found.append(SafeTest("sweep", (me, *others)))
    if others:
        found.append(SafeTest("level", (_most_alike(heard),)))
    found.extend(SafeTest("still on", (one.callsign,)) for one in heard.air.down)
    return tuple(found)


def outcome_chances(
    heard: TroubledReceiver, one: Suspicion, tests: tuple[SafeTest, ...]
) -> tuple[tuple[float, ...], ...]:
    """How likely each outcome of each test is, in the order of `outcomes`, if this were the cause."""
    under = _Under(heard, one)
    return tuple(under.chances_of(test) for test in tests)


class _Under:
    """One cause, taken as the true one."""

    def __init__(self, heard: TroubledReceiver, one: Suspicion) -> None:
        self.heard, self.one = heard, one
        self.place_of = {flier.seat.pilot.callsign: n for n, flier in enumerate(heard.air.fliers)}

    @cached_property
    def before_db(self) -> float:
        return self.heard.margin_db(self.one.scene)

    def chances_of(self, test: SafeTest) -> tuple[float, ...]:
        if not test.is_of_several:
            chance = self._yes(test)
            return chance, 1.0 - chance
        if test.kind == "who far":
            return _one_of([self._clears_with_far((name,)) for name in test.who], MISSEEN)
        off = [1.0 - self._within(name) for name in test.who]
        loud = [self._plainly(self._louder_db(name)) for name in test.who[1:]]
        return _one_of([*off, *loud, self._plainly_weak()], MISREAD)

    def _yes(self, test: SafeTest) -> float:
        return {
            "far": lambda: _blurred(self._clears_with_far(test.who), wrong=MISSEEN),
            "all far": lambda: _blurred(self._clears_with_far(test.who), wrong=MISSEEN),
            "channel": lambda: _blurred(self._within(test.who[0]), wrong=MISREAD),
            "pits": self._pits,
            "nearer": self._nearer,
            "other receiver": self._other_receiver,
            "level": lambda: _blurred(self._plainly_weak(), wrong=MISREAD),
            "still on": lambda: self._still_on(test.who[0]),
            "landed": self._landed,
        }[test.kind]()

    def _pits(self) -> float:
        if self.one.kind != "pits":
            return FALSE_ALARM
        return max(FALSE_ALARM, OWNS_UP * self._clears(self._as_called_db))

    def _nearer(self) -> float:
        after_db = self.heard.margin_db(self.one.scene, nearer_db=HALF_THE_DISTANCE_DB)
        return _blurred(self._seen_to_clear(after_db), wrong=MISSEEN)

    def _other_receiver(self) -> float:
        is_bad = 1.0
        if self.one.kind == "product":
            is_bad = 1.0 - self._clears(self._as_called_db)
        elif self.one.kind == "link":
            is_bad = 1.0 - IN_THE_RECEIVER
        return _blurred(is_bad, wrong=MISSEEN)

    def _within(self, callsign: str) -> float:
        """Found within reach of its channel, where the error of a picture check is Gaussian."""
        is_off = self.one.kind in ("wrong channel", "own channel") and self.one.who == (callsign,)
        given_mhz = self.heard.tuned[self.place_of[callsign]]
        off_mhz = float((self.one.mhz or given_mhz) - given_mhz) if is_off else 0.0
        return _below((WITHIN_MHZ - off_mhz) / READ_TO_MHZ) - _below((-WITHIN_MHZ - off_mhz) / READ_TO_MHZ)

    def _plainly_weak(self) -> float:
        """The transmitter is weak, not the receiver; or off tune, which reads weaker too."""
        if self.one.kind == "link":
            weak = self._plainly(self.one.scene.weaker_db)
            return (1.0 - IN_THE_RECEIVER) * weak + IN_THE_RECEIVER * self._plainly(0.0)
        return self._plainly(float(off_tune_loss_db(self.one.scene.own_mhz - self.heard.seat.mhz)))

    def _louder_db(self, callsign: str) -> float:
        place = self.place_of[callsign]
        ratio = self.one.scene.gear.level_mw[0, place] / self.heard.gear.level_mw[0, place]
        return float(decibels.db_from_power_ratio(ratio))

    @staticmethod
    def _plainly(by_db: float) -> float:
        """Chance that so large a difference of levels is found to be plain."""
        return _below((by_db - PLAIN_DB) / LEVEL_TO_DB)

    def _still_on(self, callsign: str) -> float:
        is_it = self.one.kind == "down" and self.one.who == (callsign,)
        return _blurred(1.0 if is_it else STILL_ON_UNRELATED, wrong=MISREAD)

    def _landed(self) -> float:
        """Whatever the desk's receiver still hears, off its tuning, with everybody in the middle of the course."""
        scene, heard, mine = self.one.scene, self.heard, self.heard.seat.mhz
        level_mw = scene.gear.level_mw[scene.gear.sense[heard.place]]
        still_mw = np.zeros(())
        for who, mhz in zip(scene.members, scene.mhz, strict=True):
            if who == heard.place:
                continue
            away_db = heard.half_db if who < len(heard.air.fliers) else 0.0
            still_mw = still_mw + level_mw[who] * decibels.power_ratio(
                -off_tune_loss_db(mhz - mine) - away_db
            )
        for signal in (*heard.site.outside, *([scene.signal] if scene.signal else [])):
            edge_mhz = max(0.0, abs(signal.centre_mhz - mine) - signal.width_mhz / 2.0)
            still_mw = still_mw + decibels.mw_from_dbm(signal.level_dbm - off_tune_loss_db(edge_mhz))
        over_db = float(decibels.dbm_from_mw(still_mw)) - SOMETHING_AT_DBM
        return _blurred(_below(over_db / SOMETHING_TO_DB), wrong=MISREAD)

    @cached_property
    def _as_called_db(self) -> float:
        return self.heard.margin_db(self.heard.as_called)

    def _clears_with_far(self, who: tuple[str, ...]) -> float:
        return self._seen_to_clear(
            self.heard.margin_db(self.one.scene, [self.place_of[name] for name in who])
        )

    def _seen_to_clear(self, after_db: float) -> float:
        effect = self.one.effect
        by_itself = COMES_AND_GOES if effect.moves and effect.usual_db > NOTICED_AT_DB else STAYS
        return by_itself + (1.0 - by_itself) * self._clears(after_db)

    def _clears(self, after_db: float) -> float:
        """Chance that a picture that was noticed with the cause is not with this margin."""
        return 1.0 - min(1.0, noticed(after_db) / noticed(self.before_db))


def _blurred(chance: float, *, wrong: float) -> float:
    return wrong + (1.0 - 2.0 * wrong) * chance


def _one_of(shows: list[float], wrong: float) -> tuple[float, ...]:
    """Chances that nobody is named, and that each is, from the chance that each alone shows something.

    Several that show something are told apart by odds; a wrong outcome is any of the others.
    """
    odds = [min(0.999, chance) / (1.0 - min(0.999, chance)) for chance in shows]
    nobody = math.prod(1.0 - chance for chance in shows)
    named = [(1.0 - nobody) * one / sum(odds) if sum(odds) else 0.0 for one in odds]
    others = len(shows)
    return tuple((1.0 - wrong) * chance + wrong * (1.0 - chance) / others for chance in (nobody, *named))


def _below(deviations: float) -> float:
    """The Gaussian distribution function."""
    return 0.5 * (1.0 + math.erf(deviations / math.sqrt(2.0)))


def _most_alike(heard: TroubledReceiver) -> str:
    """Whom the own level is compared with: the other flier with the nearest power, the first of equals."""
    own_mw = heard.seat.power_mw
    others = [one.seat for n, one in enumerate(heard.air.fliers) if n != heard.place]
    best = min(others, key=lambda seat: abs(math.log(seat.power_mw / own_mw)))
    return best.pilot.callsign
