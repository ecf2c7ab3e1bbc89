"""Kill the server in the midst of a busy day, again and again, and look at what is left."""

import random
import time
from dataclasses import dataclass
from pathlib import Path

from tests.durability import busy_day

CHANGES_BEFORE = (3, 25)
"""How many changes are answered before the kill."""
LONGEST_WAIT_S = 0.03
"""Then a moment more, so that the kill falls anywhere in a change."""


@dataclass(frozen=True)
class Report:
    kills: int
    answered: int
    lost: tuple[busy_day.Change, ...]
    faults: tuple[str, ...]


def kill_at_random(folder: Path, times: int, seed: int) -> Report:
    """Each time the server starts on what the last one left, and all that was ever answered is looked for."""
    chance = random.Random(seed)
    day = busy_day.made(folder, days_to_publish=6 * times)
    lost, faults = set(), []
    for number in range(1, times + 1):
        server = busy_day.server_in(folder).start()
        crowd = busy_day.Crowd(day, server.port)
        for _ in range(chance.randint(*CHANGES_BEFORE)):
            assert crowd.changed.acquire(timeout=busy_day.PATIENCE_S), server.said
        time.sleep(chance.random() * LONGEST_WAIT_S)
        server.kill()
        crowd.stop()
        lost |= busy_day.lost(day, day.file)
        faults += [f"after kill {number}: {fault}" for fault in busy_day.faults(day.file)]
    return Report(times, len(day.answered), tuple(sorted(lost)), tuple(faults))
