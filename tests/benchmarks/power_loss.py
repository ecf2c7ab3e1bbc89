"""Take the power from the server of a busy day at random moments and say what was lost. Needs strace.

python3 -m server dev tests.benchmarks.power_loss [--changes N] [--points N] [--seed S]
"""

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.durability.power_loss import try_points


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=300)
    parser.add_argument("--points", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with TemporaryDirectory(prefix="bandstand-power-") as folder:
        report = try_points(Path(folder), options.changes, options.points, options.seed)
    print(f"points {report.points}, answered changes {report.answered}, lost {len(report.lost)}")
    print(f"syncs {report.syncs}; half changes and broken files: {len(report.faults)}")
    for line in (*map(str, report.lost), *report.faults):
        print(f"    {line}")
    return 1 if report.lost or report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
