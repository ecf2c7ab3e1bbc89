"""Kill the server of a busy day at random moments and say what was lost.

python3 -m server dev tests.benchmarks.kills [--kills N] [--seed S]
"""

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.durability.kills import kill_at_random

ON_ONE_FILE = 50
"""More kills would fill the day, which holds 500 pilots."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    kills = answered = harm = 0
    while kills < options.kills:
        times = min(ON_ONE_FILE, options.kills - kills)
        with TemporaryDirectory(prefix="bandstand-kills-") as folder:
            report = kill_at_random(Path(folder), times, options.seed + kills)
        kills, answered = kills + report.kills, answered + report.answered
        harm += len(report.lost) + len(report.faults)
        print(
            f"kills {kills}, answered changes {answered}, lost, half or broken {harm}",
            *map(str, report.lost),
            *report.faults,
            sep="\n    ",
            flush=True,
        )
    return 1 if harm else 0


if __name__ == "__main__":
    sys.exit(main())
