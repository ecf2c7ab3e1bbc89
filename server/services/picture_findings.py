"""What the readings of a picture check say, in the words of the desk: where the transmitter is, what to read next.

Carriers come into question that the transmitter can tune; all of the table where its gear is not known, where so
few are listed that a slip at the desk would hide the truth, or where none of the listed explains what was read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from server.radio import bars
from server.radio.bars import BarReading
from server.radio.channel_finding import MOST_READINGS, Finding, Group, Reading, find_channel, next_tuning
from server.radio.channels import CATALOGUE, labels_at
from server.services.gear import VideoSetup
from server.wording import gettext as _

DB, BARS = "dB", "bars"
UNITS = (DB, BARS)

FEWEST_LISTED = 8
"""A set that is said to tune fewer than the channels of a band may well be something else."""

_BAND_OF_FEW_RECEIVERS = "L"
_SHOWN_GROUPS = 3
_SHOWN_CHANCE = 0.01


@dataclass(frozen=True)
class Read:
    """One reading as the desk took it; `level` in dB, or whole bars."""

    tuned_mhz: int
    level: float
    unit: str


def named(mhz: int) -> str:
    """A carrier by all its labels: "F8/R7 5880"; "5800 MHz" where the table has none."""
    labels = labels_at(mhz)
    return f"{'/'.join(labels)} {mhz}" if labels else f"{mhz} MHz"


def named_all(carriers_mhz: Sequence[int]) -> str:
    """ "A1 5865 or B8 5866"."""
    return _(" or ").join(named(mhz) for mhz in carriers_mhz)


class Readings:
    """What was read of one transmitter, and what it says about the channel that it claims."""

    def __init__(self, reads: Sequence[Read], claimed_mhz: int, setup: VideoSetup) -> None:
        self.reads, self.claimed_mhz = tuple(reads), claimed_mhz
        self._listed = frozenset({*setup.tunes.mhz, claimed_mhz})
        self._is_list_known = not any(field == "tunes" for field, _ in setup.assumed)

    @property
    def unit(self) -> str:
        """That of the first reading; a meter does not change in the middle of a check."""
        return self.reads[0].unit if self.reads else DB

    @cached_property
    def finding(self) -> Finding:
        """What readings in dB say."""
        return find_channel(self._levels, self._carriers)

    @property
    def verdict(self) -> str:
        """Of readings in dB; bars leave it to the people at the desk."""
        if self.unit == BARS or not self.reads:
            return "in doubt"
        return self.finding.verdict(self.claimed_mhz)

    @property
    def likely(self) -> tuple[Group, ...]:
        """The likeliest places, as far as they are worth naming; none from bars."""
        if self.unit == BARS or len(self.reads) < 2:
            return ()
        return tuple(group for group in self.finding.groups[:_SHOWN_GROUPS] if group.chance >= _SHOWN_CHANCE)

    @property
    def is_consistent(self) -> bool | None:
        """Of bars: whether they agree with the claimed channel; None while they do not test it."""
        return bars.is_consistent(self._bars, self.claimed_mhz) if self.unit == BARS else None

    @property
    def consistent_mhz(self) -> tuple[int, ...]:
        """Of bars: every carrier that they agree with."""
        return bars.consistent(self._bars, self._carriers) if self.unit == BARS else ()

    @property
    def next_mhz(self) -> int | None:
        """Where to tune the receiver next; None where nothing is to be gained by it."""
        if not self.reads:
            return self.claimed_mhz
        if self.unit == BARS:
            return bars.next_tuning(self._bars, self.claimed_mhz, self._carriers, self._tunings)
        if self.verdict != "in doubt":
            return None
        return next_tuning(self._levels, self._carriers, self._tunings)

    @property
    def is_through(self) -> bool:
        """As many readings as are asked for were taken."""
        return len(self.reads) >= MOST_READINGS

    @cached_property
    def _carriers(self) -> frozenset[int]:
        """Those that come into question."""
        whole = self._listed | {channel.mhz for channel in CATALOGUE}
        if not self._is_list_known or len(self._listed) < FEWEST_LISTED:
            return whole
        if self.unit == DB and not find_channel(self._levels, self._listed).does_fit:
            return whole
        return self._listed

    @property
    def _tunings(self) -> set[int]:
        """What a desk's receiver tunes: few have the lowest band, and only its own channels need it."""
        usual = {channel.mhz for channel in CATALOGUE if channel.band != _BAND_OF_FEW_RECEIVERS}
        return usual | self._listed

    @property
    def _levels(self) -> list[Reading]:
        return [Reading(one.tuned_mhz, one.level) for one in self.reads]

    @property
    def _bars(self) -> list[BarReading]:
        return [BarReading(one.tuned_mhz, round(one.level)) for one in self.reads]
