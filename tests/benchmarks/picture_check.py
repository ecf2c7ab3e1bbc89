"""Print how often the picture check finds the channel that a transmitter is really on.

python3 -m server dev tests.benchmarks.picture_check [--times N] [--seed N]

Every pair of catalogue channels within 25 MHz, as (true, claimed), follows the readings that the tool asks for, at
most four. The loss off tune and the error of 3 dB are the model's own: a real meter may be worse, so two rows show
what becomes of it with other receivers.
"""

import argparse
import statistics
from collections import Counter
from collections.abc import Sequence

import numpy as np

from server.radio.channels import CATALOGUE
from tests.radio.picture_checks import CARRIERS_MHZ, Played, pairs, play

USUAL_MHZ = tuple(sorted({channel.mhz for channel in CATALOGUE if channel.band != "L"}))

OUTCOMES = (
    "right, sure",
    "elsewhere, sure, found",
    "in doubt, found",
    "in doubt, not found",
    "wrong and sure",
)

# Loss on the claimed channel: none to speak of, 1.5 dB, 7 dB, and beyond what shows a picture.
OFFSETS_MHZ = ((0, 0), (1, 3), (4, 8), (9, 12), (13, 17), (18, 25))

SETTINGS = (
    ("whole catalogue", CARRIERS_MHZ, {}),
    ("bands A B E F R", USUAL_MHZ, {}),
    ("error 5 dB in place of 3", CARRIERS_MHZ, {"error_db": 5.0}),
    ("receiver 22 MHz wide in place of 27", CARRIERS_MHZ, {"bandwidth_mhz": 22.0}),
)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--times", type=int, default=20, help="how often each pair is played")
    arguments.add_argument("--seed", type=int, default=1)
    times, seed = (taken := arguments.parse_args()).times, taken.seed
    for number, (name, carriers_mhz, receiver) in enumerate(SETTINGS):
        random = np.random.default_rng(seed)
        played = [
            play(truth, claimed, random, carriers_mhz, **receiver)
            for _ in range(times if number == 0 else max(1, times // 4))
            for truth, claimed in pairs(carriers_mhz)
        ]
        _tell(name, played)
        if number == 0:
            _confusion(played)


def _tell(name: str, played: Sequence[Played]) -> None:
    found, wrong = (sum(flags) / len(played) for flags in _flags(played))
    sure = sum(one.verdict != "in doubt" for one in played) / len(played)
    readings = statistics.mean(len(one.readings) for one in played)
    print(
        f"{name}, {len(played)} checks: within 3 MHz {found:.1%}, wrong and sure {wrong:.2%}, "
        f"sure {sure:.1%}, {readings:.1f} readings"
    )


def _flags(played: Sequence[Played]) -> tuple[list[bool], list[bool]]:
    return [one.is_found for one in played], [one.is_wrong_and_sure for one in played]


def _confusion(played: Sequence[Played]) -> None:
    print("\n| truth off the claim, MHz | checks | " + " | ".join(OUTCOMES) + " |")
    print("| --- |" + " ---: |" * (len(OUTCOMES) + 1))
    for low, high in OFFSETS_MHZ:
        row = [one for one in played if low <= abs(one.truth_mhz - one.claimed_mhz) <= high]
        counts = Counter(_outcome(one) for one in row)
        cells = " | ".join(f"{counts[outcome] / len(row):.1%}" for outcome in OUTCOMES)
        print(f"| {low if low == high else f'{low} to {high}'} | {len(row)} | {cells} |")
    print()


def _outcome(one: Played) -> str:
    if one.is_wrong_and_sure:
        return "wrong and sure"
    if one.verdict == "in doubt":
        return "in doubt, found" if one.is_found else "in doubt, not found"
    return "right, sure" if one.verdict == "right" else "elsewhere, sure, found"


if __name__ == "__main__":
    main()
