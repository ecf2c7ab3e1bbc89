"""Press many days blindly and say how often, and what did not hold.

python3 -m server dev tests.benchmarks.day_life [--days N] [--presses N] [--seed S] [--shrink]
"""

import argparse
import sys

from tests.attack.day_life import DayLife, live


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--presses", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--shrink", action="store_true")
    options = parser.parse_args()
    try:
        live(options.days, options.presses, options.seed, options.shrink)
    finally:
        pressed = DayLife.presses
        print(f"presses {pressed.total()}, accepted {pressed['accepted']}, refused {pressed['refused']}")
    print("every fact held")
    return 0


if __name__ == "__main__":
    sys.exit(main())
