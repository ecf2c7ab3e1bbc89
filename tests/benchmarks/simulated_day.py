"""Print what thirty phones show on a field day of three rounds.

python3 -m server dev tests.benchmarks.simulated_day
"""

import statistics
import tempfile
from pathlib import Path

from tests.simulated_day.judge import POWER_UP
from tests.simulated_day.play import run

WITHIN_S = 2.0


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        seen = run(Path(folder))
    print(f"30 pilots, 30 phones, {len(seen.heats)} calls, {seen.acts} acts, played in {seen.took_s:.0f} s:")
    print("  words that came up: " + ", ".join(f"{word} {count}" for word, count in seen.words.most_common()))
    print(f"  POWER UP or FLY where it must not be: {len(seen.switched_on_wrongly)}")
    print(f"  any other word than the judge has: {len(seen.wrong)}")
    for one in seen.wrong:
        print(f"    {one}")
    print("  from the press to the word on the phone, in seconds:")
    for word, delays in sorted(seen.delays_s.items(), key=lambda one: one[0] != POWER_UP):
        late = sum(delay > WITHIN_S for delay in delays)
        longest = f"longest {max(delays):.2f}, above {WITHIN_S:g} s: {late} of {len(delays)}"
        print(f"    {word}: median {statistics.median(delays):.2f}, {longest}")
    shown = {name: count for name, count in seen.flights_shown.items() if count}
    is_right = shown == {name: count for name, count in seen.flights.items() if count}
    print(f"  flights {sum(seen.flights.values())}, counted right: {'yes' if is_right else 'NO'}")
    print(f"  refused {len(seen.refused)}, overridden in words {len(seen.overrides)}")


if __name__ == "__main__":
    main()
