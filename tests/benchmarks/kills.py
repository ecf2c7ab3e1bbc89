"""Kill the server of a busy day at random moments and say what was lost.

python3 -m server dev tests.benchmarks.kills [--kills N] [--seed S]
"""

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.durability.kills import kill_at_random


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with TemporaryDirectory(prefix="bandstand-kills-") as folder:
        report = kill_at_random(Path(folder), options.kills, options.seed)
    print(f"kills {report.kills}, answered changes {report.answered}, lost {len(report.lost)}")
    print(f"half changes and broken files: {len(report.faults)}")
    for line in (*map(str, report.lost), *report.faults):
        print(f"    {line}")
    return 1 if report.lost or report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
