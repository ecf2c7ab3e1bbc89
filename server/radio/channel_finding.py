"""Which channel a transmitter is on, from levels that a receiver reads at a few tunings.

Tuned off the carrier, a receiver reads it weaker, and how much weaker tells how far off it is. The level itself
tells nothing: nobody knows the distance, the antennas or the scale of the meter, so every carrier is given the
gain that suits it best and is judged by what is left over. Far off the carrier the loss is flat: readings there
tell channels apart only from those near by, and the next tuning has to be chosen for what it will tell.

    carrier    its likelihood, with a flat prior over the gain and over the carriers that come into question
    group      carriers within 3 MHz of the likeliest of them: a picture check cannot and need not part them
    next       the tuning whose reading tells most, in bits, about which of the carriers it is
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from server.radio.channels import TWIN_MHZ
from server.radio.receiver import off_tune_loss_db

ERROR_DB = 3.0
"""Standard deviation of a reading: a meter held by hand, an aircraft that somebody walks past."""

SAME_MHZ = 3
"""Carriers this close are one channel to every receiver: it loses 0.2 dB at most on the other."""

SURE = 0.99
"""From this chance on a finding is taken for sure."""

MOST_READINGS = 4
"""As many are asked for; a transmitter that is in doubt after them is to be set anew."""

NEGLIGIBLE = 0.05
"""Carriers with less than this share of the likeliest one's chance are not named beside it."""

Verdict = Literal["right", "wrong", "in doubt"]

_WORTHLESS_BITS = 0.02
_MISFIT_QUANTILE = (
    3.09  # of the standard normal distribution: one true set of readings in a thousand is beyond
)


@dataclass(frozen=True, slots=True)
class Reading:
    """A level in dB, on any scale, that a receiver tuned to `tuned_mhz` reads."""

    tuned_mhz: int
    level_db: float


@dataclass(frozen=True)
class Group:
    """Carriers that are reported as one, the likeliest first.

    chance  that the transmitter is on one of them, or on another within 3 MHz of the first
    """

    carriers_mhz: tuple[int, ...]
    chance: float

    def holds(self, mhz: int) -> bool:
        """Whether a transmitter on this carrier is where the group says, as far as a receiver can tell."""
        return abs(mhz - self.carriers_mhz[0]) <= SAME_MHZ


@dataclass(frozen=True)
class Finding:
    """What the readings say.

    groups    the likeliest first; their chances sum to one
    chances   of each carrier that came into question
    does_fit  whether the likeliest carrier explains the readings; if not, it is on none of those looked at, or
              somebody else's transmitter is read
    """

    groups: tuple[Group, ...]
    chances: Mapping[int, float] = field(hash=False)
    does_fit: bool

    @property
    def likeliest(self) -> Group:
        return self.groups[0]

    def chance_of(self, mhz: int) -> float:
        """That the transmitter is on this carrier, or within 3 MHz of it."""
        return sum(chance for carrier, chance in self.chances.items() if abs(carrier - mhz) <= SAME_MHZ)

    def verdict(self, claimed_mhz: int) -> Verdict:
        """Whether it is on the carrier that it claims: sure that it is, sure where else it is, or neither."""
        if not self.does_fit:
            return "in doubt"
        if self.chance_of(claimed_mhz) >= SURE:
            return "right"
        is_elsewhere = self.chance_of(claimed_mhz) <= 1.0 - SURE and not self.likeliest.holds(claimed_mhz)
        return "wrong" if is_elsewhere and self.likeliest.chance >= SURE else "in doubt"


def find_channel(readings: Sequence[Reading], carriers_mhz: Collection[int]) -> Finding:
    """Which of the carriers a transmitter is on, none of them likelier than another before the first reading.

    carriers_mhz  whole MHz, those that come into question, at least one
    """
    carriers = np.array(sorted(set(carriers_mhz)))
    chances, misfit = _chances(readings, carriers)
    of_each = dict(zip(carriers.tolist(), chances.tolist(), strict=True))
    does_fit = misfit <= _largest_misfit(len(readings) - 1)
    return Finding(tuple(_groups(carriers, chances)), of_each, does_fit)


def next_tuning(
    readings: Sequence[Reading], carriers_mhz: Collection[int], tunings_mhz: Collection[int]
) -> int | None:
    """The tuning in MHz, not read yet, at which a reading tells most about which carrier it is.

    readings     at least one: before it, every tuning tells as little
    tunings_mhz  what the receiver can be set to

    Returns None where no tuning tells anything any more; among equals the lowest.
    """
    carriers = np.array(sorted(set(carriers_mhz)))
    tunings = sorted(set(tunings_mhz) - {reading.tuned_mhz for reading in readings})
    chances, _ = _chances(readings, carriers)
    gains_db = _residuals_db(readings, carriers).mean(axis=0)
    error_db = ERROR_DB * np.sqrt(1.0 + 1.0 / len(readings))
    bits = [
        _information_bits(gains_db - off_tune_loss_db(tuning - carriers), chances, error_db)
        for tuning in tunings
    ]
    if not bits or max(bits) < _WORTHLESS_BITS:
        return None
    return tunings[int(np.argmax(np.round(bits, 6)))]


def _residuals_db(readings: Sequence[Reading], carriers: np.ndarray) -> np.ndarray:
    """(n, m) dB: the gain that each of n readings speaks for if the transmitter is on each of m carriers."""
    tuned = np.array([reading.tuned_mhz for reading in readings])
    levels_db = np.array([reading.level_db for reading in readings])
    return levels_db[:, np.newaxis] + off_tune_loss_db(tuned[:, np.newaxis] - carriers)


def _chances(readings: Sequence[Reading], carriers: np.ndarray) -> tuple[np.ndarray, float]:
    """Chance of each carrier, and the misfit of the likeliest: squared errors in units of their variance."""
    if not readings:
        return np.full(len(carriers), 1.0 / len(carriers)), 0.0
    residuals_db = _residuals_db(readings, carriers)
    misfits = ((residuals_db - residuals_db.mean(axis=0)) ** 2).sum(axis=0) / ERROR_DB**2
    # Against the best of them, so that a long list of readings does not underflow.
    likelihoods = np.exp(-(misfits - misfits.min()) / 2.0)
    return likelihoods / likelihoods.sum(), float(misfits.min())


def _largest_misfit(degrees: int) -> float:
    """The misfit that one true set of readings in a thousand exceeds: a quantile of chi-squared.

    Source: Wilson and Hilferty, 1931, from memory; within 5 % of the tables.
    """
    if degrees < 1:
        return 0.0
    spread = 2.0 / (9.0 * degrees)
    return float(degrees * (1.0 - spread + _MISFIT_QUANTILE * np.sqrt(spread)) ** 3)


def _groups(carriers: np.ndarray, chances: np.ndarray) -> list[Group]:
    """Likeliest first; each takes in what lies within SAME_MHZ of its likeliest carrier."""
    left = [int(place) for place in np.lexsort((carriers, -np.round(chances, 12)))]
    groups = []
    while left:
        first = left[0]
        inside = [place for place in left if abs(carriers[place] - carriers[first]) <= SAME_MHZ]
        named = [
            place
            for place in inside
            if abs(carriers[place] - carriers[first]) <= TWIN_MHZ
            or chances[place] >= NEGLIGIBLE * chances[first]
        ]
        groups.append(Group(tuple(int(carriers[place]) for place in named), float(chances[inside].sum())))
        left = [place for place in left if place not in inside]
    return sorted(groups, key=lambda group: -group.chance)


def _information_bits(levels_db: np.ndarray, chances: np.ndarray, error_db: float) -> float:
    """What a reading is expected to tell about which carrier it is, in bits, by numerical integration.

    levels_db  (m,) what would be read if it is each carrier, give or take `error_db`
    chances    (m,)
    """
    step_db = error_db / 4.0
    grid_db = np.arange(levels_db.min() - 4.0 * error_db, levels_db.max() + 4.0 * error_db, step_db)
    errors = (grid_db[:, np.newaxis] - levels_db) / error_db
    densities = np.exp(-(errors**2) / 2.0) / (error_db * np.sqrt(2.0 * np.pi))
    mixed = densities @ chances
    of_the_mixture = -float((mixed * np.log2(np.maximum(mixed, 1e-300))).sum() * step_db)
    of_the_error = float(np.log2(error_db * np.sqrt(2.0 * np.pi * np.e)))
    return of_the_mixture - of_the_error
