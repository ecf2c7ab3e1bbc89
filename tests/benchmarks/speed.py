"""Every promise of speed and memory, measured: one command, one table.

    python3 -m server dev tests.benchmarks.speed [--row NAME ...] [--peer-seconds S] [--markdown]

Each row runs in a process of its own, so that its memory is its own. Times are wall-clock medians of several
runs on a warm planner unless the row says otherwise; a ratio has both sides measured in the same run. Nothing else
should run on the machine. All rows take about a quarter of an hour, most of it the peers.
"""

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from server.allocator.changes import trade_offs
from server.allocator.heat import best_channels, best_worst_margin
from server.allocator.power import levels_to_try
from server.allocator.provisional import provisional_channel
from server.allocator.rest import RestOfDay
from server.allocator.solve import plan_day, warm_up
from server.radio.interference import Station, heat_margins
from server.radio.site import Site
from tests.allocator.mixes import equal_pilots, usual_mhz
from tests.benchmarks import cp_sat_forms, cp_sat_heat
from tests.benchmarks.day_peer import peer_margin_db
from tests.benchmarks.mixed_heats import mixed_heat
from tests.benchmarks.mixed_roster import mixed_day_of

CLOSE_DB = 0.5
PEER_SECONDS = 600.0
"""What the other algorithm is given before its best counts as a reference."""

FIRST_LIMIT_S = 0.3
"""Time limit of a plan that is wanted at once: what is in hand then is finished and answered."""


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    work: str
    promise: str
    measured: str
    is_kept: bool


def six_of_38(options: argparse.Namespace) -> Row:
    heat = equal_pilots(6, usual_mhz())
    ours, answer = timed(lambda: best_worst_margin(heat.gear), 9)
    forms = {
        "offsets": cp_sat_heat.best_worst_margin,
        "chosen channels": cp_sat_forms.chosen_channels,
        "bisected": cp_sat_forms.bisected,
    }
    peers = {name: form(heat.entries, seconds=options.peer_seconds) for name, form in forms.items()}
    quickest = min(one.seconds for one in peers.values())
    words = ", ".join(
        f"{name} {one.seconds:.1f} s{'' if one.is_optimal else ' without a proof'}"
        for name, one in peers.items()
    )
    return Row(
        "one heat, 6 of 38 channels, stage 1 proved",
        "200 times as fast as OR-Tools CP-SAT, the best of three forms",
        f"{ours * 1e3:.0f} ms, {answer.nodes} nodes; CP-SAT: {words}; {quickest / ours:.0f} times as fast",
        answer.is_best_proved and quickest >= 200 * ours,
    )


def eight_mixed(options: argparse.Namespace) -> Row:
    seconds, whole, nodes, are_proved = [], [], [], True
    for seed in range(100):
        gear = mixed_heat(seed)
        began = time.perf_counter()
        two_stages = [0.0]

        def note(stage: str, _nodes: int, _margin: float | None, began=began, two_stages=two_stages) -> bool:
            if stage != "choice among equals":
                two_stages[0] = time.perf_counter() - began
            return True

        answer = best_channels(gear, keep_going=note)
        whole.append(time.perf_counter() - began)
        seconds.append(two_stages[0])
        nodes.append(answer.nodes)
        are_proved = are_proved and answer.is_stress_proved
    late = quantiles(seconds, n=20)[-1]
    return Row(
        "one heat, 8 pilots of mixed gear, powers and antennas, stages 1 and 2 proved, 100 mixes",
        "median 0.2 s, 95th percentile 1 s, none above 5 s",
        f"median {median(seconds):.2f} s, 95th percentile {late:.2f} s, longest {max(seconds):.2f} s; all six "
        f"stages: median {median(whole):.2f} s, longest {max(whole):.2f} s; nodes: median {median(nodes):.0f}, "
        f"most {max(nodes)}",
        are_proved and median(seconds) <= 0.2 and late <= 1.0 and max(seconds) <= 5.0,
    )


def day_of_18(options: argparse.Namespace) -> Row:
    seconds, plan = timed(lambda: plan_day(mixed_day_of(18, 6, 3, 1)), 5)
    return Row(
        "a day of 18 pilots, 6 up, 3 rounds",
        "1 s",
        f"{seconds:.2f} s, worst margin {plan.worst_margin_db:.2f} dB, bound {plan.bound_db:.2f} dB",
        seconds <= 1.0,
    )


def day_of_64(options: argparse.Namespace) -> Row:
    day = mixed_day_of(64, 8, 4, 1)
    first_seconds, first = timed(lambda: plan_day(replace(day, time_limit_s=FIRST_LIMIT_S)), 3)
    seconds, plan = timed(lambda: plan_day(day), 1)
    assert len(first.heats) == len(plan.heats)
    level = next(one for one in levels_to_try(day) if one.common_mw == plan.common_power_mw)
    peer_db = peer_margin_db(day, level.powers_mw, options.peer_seconds)
    # A peer that was not given its ten minutes cannot say that the plan is good, only that it is not.
    had_time = options.peer_seconds >= PEER_SECONDS
    lacks_db = (peer_db if had_time else plan.bound_db) - plan.worst_margin_db
    is_close = min(lacks_db, plan.bound_db - plan.worst_margin_db) <= CLOSE_DB
    return Row(
        "a day of 64 pilots, 8 up, 4 rounds",
        "first plan 1 s; 5 s to within 0.5 dB of the best of its bound and a run of another algorithm",
        f"stopped after {FIRST_LIMIT_S} s, whole plan at {first_seconds:.2f} s ({first.worst_margin_db:.2f} dB); "
        f"not stopped {seconds:.2f} s: worst margin {plan.worst_margin_db:.2f} dB, bound {plan.bound_db:.2f} dB, "
        f"the other algorithm in {options.peer_seconds:.0f} s {peer_db:.2f} dB",
        first_seconds <= 1.0 and seconds <= 5.0 and is_close,
    )


def day_of_200(options: argparse.Namespace) -> Row:
    seconds, plan = timed(lambda: plan_day(mixed_day_of(200, 8, 4, 1)), 1)
    return Row(
        "a day of 200 pilots, 8 up, 4 rounds",
        "15 s, below 500 MB",
        f"{seconds:.1f} s, {memory_mb():.0f} MB, worst margin {plan.worst_margin_db:.2f} dB, bound "
        f"{plan.bound_db:.2f} dB",
        seconds <= 15.0 and memory_mb() < 500.0,
    )


def late_arrival(options: argparse.Namespace) -> Row:
    day = mixed_day_of(64, 8, 4, 1)
    late = day.pilots[-1]
    published = plan_day(day.with_pilots(day.pilots[:-1]))
    channels = {slot.callsign: slot.mhz for heat in published.heats for slot in heat.slots}
    pilots = tuple(replace(one, current_mhz=channels.get(one.callsign)) for one in day.pilots)
    assert published.common_power_mw is not None
    rest = RestOfDay(day.with_pilots(pilots), published.heats, 5, published.common_power_mw)
    seconds, changed = timed(lambda: trade_offs(rest), 3)
    assert any(join.callsign == late.callsign for row in changed.rows for join in row.joins)
    rows = ", ".join(f"{row.moved} moved {row.worst_margin_db:.2f} dB" for row in changed.rows)
    return Row(
        "late arrival into a published day of 64, from heat 5 on",
        "all trade-offs 1 s",
        f"{seconds:.2f} s: {rows}",
        seconds <= 1.0,
    )


def at_the_desk(options: argparse.Namespace) -> Row:
    day = mixed_day_of(64, 8, 4, 1)
    present, seconds = [], []
    for pilot in day.pilots:
        took, found = timed(lambda one=pilot, others=tuple(present): provisional_channel(one, others, day), 1)
        seconds.append(took)
        assert found is not None
        present.append(replace(pilot, current_mhz=found.mhz))
    stations = [
        Station(str(row), mhz, 25.0)
        for row, mhz in enumerate((5658, 5695, 5733, 5771, 5806, 5847, 5880, 5917))
    ]
    moved, _ = timed(lambda: heat_margins(stations, Site()), 9)
    return Row(
        "provisional channel for each of 64 pilots; one moved pilot re-scored in a heat of 8",
        "50 ms",
        f"longest {max(seconds[1:]) * 1e3:.0f} ms, median {median(seconds) * 1e3:.0f} ms; {moved * 1e3:.1f} ms",
        max(seconds[1:]) <= 0.05 and moved <= 0.05,
    )


def cold_start(options: argparse.Namespace) -> Row:
    """A process that finds no compiled code, and the next one."""
    program = (
        "import time; t = time.perf_counter();"
        "from server.allocator.solve import warm_up; warm_up(); print(time.perf_counter() - t)"
    )
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "NUMBA_CACHE_DIR": folder}
        command = [sys.executable, "-c", program]
        cold, kept = (
            float(subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout)
            for _ in range(2)
        )
    return Row(
        "a planner's first answer after a cold start",
        "compiled code kept on disk, warmed in the background; a plan asked for meanwhile waits 10 s at most",
        f"{cold:.1f} s with nothing kept, {kept:.1f} s from the disk",
        cold <= 10.0,
    )


ROWS: dict[str, Callable[[argparse.Namespace], Row]] = {
    "six-of-38": six_of_38,
    "eight-mixed": eight_mixed,
    "day-of-18": day_of_18,
    "day-of-64": day_of_64,
    "day-of-200": day_of_200,
    "late-arrival": late_arrival,
    "desk": at_the_desk,
    "cold-start": cold_start,
}


def timed(work: Callable[[], Any], times: int) -> tuple[float, Any]:
    """Median seconds of some runs, and the last answer."""
    seconds = []
    for _ in range(times):
        began = time.perf_counter()
        answer = work()
        seconds.append(time.perf_counter() - began)
    return median(seconds), answer


def memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def machine() -> str:
    cpu = next(
        (
            line.partition(":")[2].strip()
            for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
            if line.startswith("model name")
        ),
        platform.processor(),
    )
    return (
        f"{os.cpu_count()} cores of {cpu}, Python {platform.python_version()}, numba {version('numba')}, "
        f"OR-Tools {version('ortools')}"
    )


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed")
    parser.add_argument("--row", action="append", choices=ROWS, help="only this one")
    parser.add_argument("--peer-seconds", type=float, default=300.0, help="for each run of a peer")
    parser.add_argument("--alone", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.alone:
        warm_up()
        print(json.dumps({**asdict(ROWS[options.row[0]](options)), "memory_mb": memory_mb()}))
        return 0
    print(f"{machine()}\n\n| work | promise | measured | memory | kept |\n| --- | --- | --- | --- | --- |")
    are_kept = True
    for name in options.row or ROWS:
        command = [sys.executable, "-m", "tests.benchmarks.speed", "--alone", "--row", name]
        command += ["--peer-seconds", str(options.peer_seconds)]
        row = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
        are_kept = are_kept and row["is_kept"]
        kept = "yes" if row["is_kept"] else "**no**"
        print(
            f"| {row['work']} | {row['promise']} | {row['measured']} | {row['memory_mb']:.0f} MB | {kept} |",
            flush=True,
        )
    return 0 if are_kept else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
