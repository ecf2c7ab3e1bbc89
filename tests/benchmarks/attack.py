"""Call every operation with generated input, as the organizer and as nobody, and say what came of it.

python3 -m server dev tests.benchmarks.attack [--examples N] [--seed S]
"""

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from server.services.roles import DIRECTOR, ORGANIZER
from tests.attack.api import Tally, attacker, busy_file, operations_on


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    failures: list[str] = []
    with TemporaryDirectory(prefix="bandstand-attack-") as folder:
        busy = busy_file(Path(folder))
        operations = operations_on(busy)
        for role in (ORGANIZER, DIRECTOR, None):
            total = Tally()
            with attacker(busy, role) as somebody:
                for operation in operations:
                    total.add(somebody.attack(operation, options.examples, options.seed))
            answers = ", ".join(f"{status}: {number}" for status, number in sorted(total.answers.items()))
            print(f"{role or 'nobody'}: operations {len(operations)}, cases {total.cases}, answers {answers}")
            failures += total.failures
    print(f"faults {len(failures)}")
    for failure in failures:
        print(f"    {failure}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
