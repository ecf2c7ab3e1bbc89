"""Print how an afternoon of open flying goes.

python3 -m server dev tests.benchmarks.open_flying_afternoon [--seed N]
"""

import argparse
import statistics
import tempfile
import time
from pathlib import Path

from server import paths
from server.allocator.open_flying import Place, Up, offer
from server.allocator.problem import DayProblem, Pilot
from server.storage import migrate
from server.storage.session import Database
from tests.allocator.days import ALL_BANDS, tuned
from tests.services.open_flying_afternoon import STEP, STEPS, Afternoon, fly_the_afternoon

ROUNDS = 20


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seed", type=int, default=1)
    seed = arguments.parse_args().seed
    request_ms = _request_ms()
    print("One request, 0 to 7 already up, mixed gear, three powers each:")
    print(f"  median {statistics.median(request_ms):.1f} ms, slowest {max(request_ms):.1f} ms\n")
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        seen = _play(Path(folder) / "first.sqlite", seed)
        again = _play(Path(folder) / "again.sqlite", seed)
    _tell(seen, seed, time.perf_counter() - began)
    print(f"  played again: {'the same, line by line' if again == seen else 'DIFFERENT'}")


def _request_ms() -> list[float]:
    """Milliseconds of each request while a field of eight fills up, after one that compiles."""
    found = []
    for _ in range(ROUNDS + 1):
        day, aloft = DayProblem((), aircraft=8), []
        for number in range(8):
            channels = tuned("R") if number % 3 == 0 else ALL_BANDS
            pilot = Pilot(f"P{number}", channels, (25.0, 200.0, 600.0), current_mhz=5800)
            began = time.perf_counter()
            place = offer(pilot, aloft, day)
            found.append(1000.0 * (time.perf_counter() - began))
            if isinstance(place, Place):
                aloft.append(Up(pilot, place.mhz, place.power_mw))
    return found[8:]


def _play(file: Path, seed: int) -> Afternoon:
    migrate.upgrade(file, paths.MIGRATIONS)
    database = Database(file)
    try:
        return fly_the_afternoon(database, seed)
    finally:
        database.close()


def _tell(seen: Afternoon, seed: int, took_s: float) -> None:
    waits = seen.waits_minutes
    hours = STEPS * STEP.total_seconds() / 3600
    print(f"20 pilots, {hours:g} hours, six places, seed {seed}, played twice in {took_s:.0f} s:")
    print(
        f"  flights {seen.flights}, by pilot {min(seen.flights_by_pilot.values())} to "
        f"{max(seen.flights_by_pilot.values())}"
    )
    print(
        f"  lowest picture grade of anybody with a place: {seen.lowest_grade} (2.5 is the least that may fly)"
    )
    print(f"  most up at once: {seen.most_up}")
    print(f"  passed over for want of a channel: {seen.most_passed} at most")
    print(f"  wait for a place: median {statistics.median(waits):.1f} min, longest {max(waits):.1f} min")
    free = seen.places_free_with_queue / max(1, seen.steps_with_queue)
    print(f"  places free while somebody waited: {free:.1f} of 6 on average")
    print(f"  nudges {seen.nudges}, refused presses {seen.refused}")


if __name__ == "__main__":
    main()
