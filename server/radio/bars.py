"""Which channels agree with what a receiver shows in bars: rank order only, so the answer is yes or no.

Nobody knows how many dB a bar is, nor from which level on all bars are lit. What remains is order: where a carrier
would be read much weaker at one tuning than at another, fewer bars have to show there. A carrier that demands
nothing of the readings taken is not tested by them. Common practice, no source.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import permutations

from server.radio.receiver import off_tune_loss_db

TELLING_DB = 20.0
"""A difference that every meter has to show: two bars of those with the fewest, far beyond a reading's error."""

NOT_TELLING_DB = 10.0
"""A difference that a meter may well not show."""


@dataclass(frozen=True, slots=True)
class BarReading:
    """Bars that a receiver tuned to `tuned_mhz` shows, on any scale."""

    tuned_mhz: int
    bars: int


def is_consistent(readings: Sequence[BarReading], carrier_mhz: int) -> bool | None:
    """Whether a transmitter on this carrier shows bars in this order; None where the readings do not test it."""
    demands = [
        strong.bars > weak.bars
        for strong, weak in permutations(readings, 2)
        if _weaker_db(carrier_mhz, weak.tuned_mhz, strong.tuned_mhz) >= TELLING_DB
        and strong.bars + weak.bars > 0  # no meter shows less than no bar
    ]
    return all(demands) if demands else None


def consistent(readings: Sequence[BarReading], carriers_mhz: Collection[int]) -> tuple[int, ...]:
    """Those of the carriers that were tested and are consistent, ascending."""
    return tuple(carrier for carrier in sorted(set(carriers_mhz)) if is_consistent(readings, carrier))


def next_tuning(
    readings: Sequence[BarReading],
    claimed_mhz: int,
    carriers_mhz: Collection[int],
    tunings_mhz: Collection[int],
) -> int | None:
    """The tuning in MHz, not read yet, at which bars may part most of the other carriers from the claimed one.

    Returns None where none parts any; among equals the one nearest to the claimed carrier, then the lowest.
    """
    taken = [reading.tuned_mhz for reading in readings]
    others = [one for one in set(carriers_mhz) if is_consistent(readings, one) is not False]
    parted = {
        tuning: sum(_is_parted(tuning, taken, claimed_mhz, other) for other in others)
        for tuning in set(tunings_mhz) - set(taken)
    }
    best = min(parted, key=lambda tuning: (-parted[tuning], abs(tuning - claimed_mhz), tuning), default=None)
    return best if best is not None and parted[best] else None


def _is_parted(tuning: int, taken: Sequence[int], claimed_mhz: int, other_mhz: int) -> bool:
    """Whether one of the two carriers demands an order of bars that the other would not show."""
    return any(
        _weaker_db(demanding, weak, strong) >= TELLING_DB
        and _weaker_db(showing, weak, strong) <= NOT_TELLING_DB
        for weak, strong in _both_ways(tuning, taken)
        for demanding, showing in ((claimed_mhz, other_mhz), (other_mhz, claimed_mhz))
    )


def _both_ways(tuning: int, taken: Sequence[int]) -> Iterator[tuple[int, int]]:
    for one in taken:
        yield tuning, one
        yield one, tuning


def _weaker_db(carrier_mhz: int, weak_mhz: int, strong_mhz: int) -> float:
    """How much weaker the carrier is read at the first tuning than at the second."""
    return _loss_db(abs(weak_mhz - carrier_mhz)) - _loss_db(abs(strong_mhz - carrier_mhz))


@cache
def _loss_db(offset_mhz: int) -> float:
    return float(off_tune_loss_db(offset_mhz))
