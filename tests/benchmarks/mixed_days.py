"""How good whole days of mixed gear are: the planner against its own bound and against another algorithm.

    python3 -m server dev tests.benchmarks.mixed_days --count 100 --peer-seconds 60

Prints a row a day and a summary. The peer (``day_peer``) is asked only where the bound is farther than 0.5 dB from
the plan, since nothing can beat the bound; it plans one round, which is easier than the day. Both use the powers
that the planner chose. Seconds are of one processor.
"""

import argparse
import time
from typing import NamedTuple

import numpy as np

from server.allocator.checks import faults_of
from server.allocator.power import power_level
from server.allocator.solve import plan_day, warm_up
from tests.benchmarks.day_peer import peer_margin_db
from tests.benchmarks.mixed_roster import mixed_day

WANTED_DB = 0.5


class Row(NamedTuple):
    """One day; ``peer_db`` NaN where the peer was not needed."""

    seed: int
    what: str
    margin_db: float
    bound_db: float
    peer_db: float
    repeats: int
    channels: int
    seconds: float
    faults: tuple[str, ...]

    @property
    def short_db(self) -> float:
        """What the plan lacks of the better of bound and peer: the peer, where it was asked, else the bound."""
        return (self.bound_db if np.isnan(self.peer_db) else self.peer_db) - self.margin_db


def look_at(seed: int, peer_seconds: float) -> Row:
    """Plan a day, check the plan, and ask the peer where the bound alone does not tell."""
    day = mixed_day(seed)
    began = time.process_time()
    plan = plan_day(day)
    seconds = time.process_time() - began
    margin_db, bound_db = plan.worst_margin_db or -np.inf, plan.bound_db or np.inf
    peer_db = np.nan
    if bound_db - margin_db > WANTED_DB and peer_seconds > 0 and plan.common_power_mw is not None:
        peer_db = peer_margin_db(day, power_level(day, plan.common_power_mw).powers_mw, peer_seconds)
    what = f"{len(day.pilots)} pilots, {day.aircraft} up, {day.rounds} rounds, {plan.common_power_mw:g} mW"
    faults = faults_of(plan, day)
    channels = len(plan.day_channels_mhz)
    return Row(seed, what, margin_db, bound_db, peer_db, plan.repeat_pairings, channels, seconds, faults)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--peer-seconds", type=float, default=60.0)
    options = parser.parse_args()
    warm_up()
    print("seed  day                                margin  bound   peer  channels  repeats  seconds")
    rows = []
    for seed in range(options.first, options.first + options.count):
        row = look_at(seed, options.peer_seconds)
        rows.append(row)
        print(
            f"{row.seed:4}  {row.what:33} {row.margin_db:7.2f} {row.bound_db:6.2f} {row.peer_db:6.2f} "
            f"{row.channels:9} {row.repeats:8} {row.seconds:8.2f}  {'; '.join(row.faults)}",
            flush=True,
        )
    within = sum(row.bound_db - row.margin_db <= WANTED_DB for row in rows)
    good = sum(row.short_db <= WANTED_DB for row in rows)
    seconds = np.array([row.seconds for row in rows])
    print(
        f"{len(rows)} days: {within} within {WANTED_DB} dB of the bound, {good} of the better of bound and peer; "
        f"{sum(bool(row.faults) for row in rows)} with faults; seconds: median {np.median(seconds):.2f}, "
        f"95th percentile {np.percentile(seconds, 95):.2f}, most {seconds.max():.2f}"
    )


if __name__ == "__main__":
    main()
