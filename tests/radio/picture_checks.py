"""Picture checks in play: a transmitter on one channel that claims another, read where the tool asks for it."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from server.radio.channel_finding import (
    ERROR_DB,
    MOST_READINGS,
    SAME_MHZ,
    Finding,
    Reading,
    find_channel,
    next_tuning,
)
from server.radio.channels import CATALOGUE
from server.radio.receiver import off_tune_loss_db

CARRIERS_MHZ = tuple(sorted({channel.mhz for channel in CATALOGUE}))
REACH_MHZ = 25
"""A picture is seen at most this far off, so whoever is farther off claims nothing that looks right."""


@dataclass(frozen=True)
class Played:
    """One check and what came out of it."""

    truth_mhz: int
    claimed_mhz: int
    readings: tuple[Reading, ...]
    finding: Finding

    @property
    def verdict(self) -> str:
        return self.finding.verdict(self.claimed_mhz)

    @property
    def is_found(self) -> bool:
        """Within 3 MHz of the truth, sure or not."""
        return self.finding.likeliest.holds(self.truth_mhz)

    @property
    def is_wrong_and_sure(self) -> bool:
        if self.verdict == "right":
            return abs(self.truth_mhz - self.claimed_mhz) > SAME_MHZ
        return self.verdict == "wrong" and not self.is_found


def pairs(carriers_mhz: Collection[int] = CARRIERS_MHZ) -> Iterator[tuple[int, int]]:
    """Every (true channel, claimed channel) that lie within reach of one another, the right ones too."""
    for truth in carriers_mhz:
        for claimed in carriers_mhz:
            if abs(truth - claimed) <= REACH_MHZ:
                yield truth, claimed


def play(
    truth_mhz: int,
    claimed_mhz: int,
    random: np.random.Generator,
    carriers_mhz: Collection[int] = CARRIERS_MHZ,
    error_db: float = ERROR_DB,
    bandwidth_mhz: float = 27.0,
) -> Played:
    """The first reading on the claimed channel, the others where they are asked for, until the verdict is sure.

    error_db, bandwidth_mhz  of this receiver, which the tool does not know
    """
    readings: list[Reading] = []
    tuning: int | None = claimed_mhz
    finding = find_channel(readings, carriers_mhz)
    while tuning is not None and len(readings) < MOST_READINGS:
        loss_db = float(off_tune_loss_db(tuning - truth_mhz, bandwidth_mhz))
        readings.append(Reading(tuning, round(-50.0 - loss_db + random.normal(0.0, error_db))))
        finding = find_channel(readings, carriers_mhz)
        if finding.verdict(claimed_mhz) != "in doubt":
            break
        tuning = next_tuning(readings, carriers_mhz, carriers_mhz)
    return Played(truth_mhz, claimed_mhz, tuple(readings), finding)
