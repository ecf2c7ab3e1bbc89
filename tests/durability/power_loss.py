"""Take the power away at random moments: what a disk may then have kept of everything that was written.

strace tells every write to the data file and to its write-ahead log, and every sync. At a moment, what was
written before a sync that had ended is on the disk; of anything later each write may be there, whole or up to a
sector, or not, in any mixture. Names of files are taken as kept: both files are there before the day begins.
"""

import random
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.durability import busy_day

SECTOR = 512
NAMES = ("bandstand.sqlite", "bandstand.sqlite-wal")
_CALL = re.compile(
    r"(?P<start>\d+\.\d+) (?P<name>pwrite64|fdatasync|fsync|ftruncate)\(\d+<(?P<path>[^>]*)>"
    r'(?:, "(?P<data>[^"]*)")?(?:, (?P<first>\d+))?(?:, (?P<second>\d+))?\) = (?P<result>\d+) <(?P<took>[\d.]+)>'
)


@dataclass(frozen=True)
class Event:
    """Something done to one of the two files; `data` of a write, None of a sync; `size` of a cut."""

    start: float
    end: float
    file: str
    data: bytes | None = None
    offset: int = 0
    size: int | None = None

    @property
    def is_sync(self) -> bool:
        return self.data is None and self.size is None


@dataclass(frozen=True)
class Report:
    points: int
    answered: int
    syncs: int
    lost: tuple[busy_day.Change, ...]
    faults: tuple[str, ...]


def traced_day(folder: Path, changes: int) -> tuple[busy_day.Day, dict[str, bytes], list[Event]]:
    """A busy day with this many changes: what was answered, the files as they began, what was done to them."""
    day = busy_day.made(folder, days_to_publish=changes)
    server = busy_day.server_in(folder).start()
    began = {name: (folder / name).read_bytes() if (folder / name).exists() else b"" for name in NAMES}
    trace = folder / "trace"
    trace.mkdir()
    with _traced(server.pid, folder, trace):
        crowd = busy_day.Crowd(day, server.port)
        for _ in range(changes):
            assert crowd.changed.acquire(timeout=busy_day.PATIENCE_S), server.said
        crowd.stop()
    server.kill()
    return day, began, read_trace(line for file in trace.iterdir() for line in file.read_text().splitlines())


class _traced:
    """strace on a running server, from the moment that it has taken hold."""

    def __init__(self, pid: int, folder: Path, trace: Path) -> None:
        paths = [option for name in NAMES for option in ("-P", str(folder / name))]
        self._command = [
            *("strace", "-ff", "-p", str(pid), "-ttt", "-T", "-y", "-xx", "-s", "70000", *paths),
            *("-e", "trace=pwrite64,fdatasync,fsync,ftruncate", "-o", str(trace / "of")),
        ]

    def __enter__(self) -> None:
        self._process = subprocess.Popen(self._command, stderr=subprocess.PIPE, text=True)
        assert self._process.stderr is not None
        said = self._process.stderr.readline()
        assert "attached" in said, said
        time.sleep(0.5)  # it goes through the threads one by one

    def __exit__(self, *_error: object) -> None:
        self._process.send_signal(signal.SIGINT)
        self._process.communicate(timeout=busy_day.PATIENCE_S)


def read_trace(lines: Iterable[str]) -> list[Event]:
    """The events of all threads, in the order they began."""
    found = []
    for line in lines:
        if match := _CALL.match(line):
            found.append(_event(match))
        else:
            assert not re.match(r"\d+\.\d+ (pwrite64|ftruncate|f\w*sync)\(.*= \d", line), (
                f"not read: {line[:200]}"
            )
    return sorted(found, key=lambda event: event.start)


def _event(match: re.Match[str]) -> Event:
    start = float(match["start"])
    end, file = start + float(match["took"]), Path(_bytes(match["path"]).decode()).name
    if match["name"] == "pwrite64":
        data = _bytes(match["data"])
        assert len(data) == int(match["first"]) == int(match["result"]), "strace cut a write short"
        return Event(start, end, file, data, int(match["second"]))
    return Event(start, end, file, size=int(match["first"]) if match["name"] == "ftruncate" else None)


def _bytes(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", "")) if text.startswith("\\x") else text.encode()


def after_power_loss(
    began: bytes, events: Sequence[Event], at: float, chance: random.Random, keeps_syncs: bool = True
) -> bytes:
    """One of the states in which a disk may have left a file whose power failed at that moment."""
    past = [event for event in events if event.start <= at]
    safe = max(
        (event.start for event in past if event.is_sync and event.end <= at and keeps_syncs), default=0.0
    )
    content = bytearray(began)
    for event in past:
        is_safe = event.end <= safe
        if event.is_sync or (not is_safe and chance.random() < 0.5):
            continue
        if event.size is not None:
            content[event.size :] = bytes(max(0, event.size - len(content)))
            continue
        data = event.data or b""
        if not is_safe and chance.random() < 0.3:
            data = data[: SECTOR * chance.randrange(1 + len(data) // SECTOR)]
        content[len(content) :] = bytes(max(0, event.offset - len(content)))
        content[event.offset : event.offset + len(data)] = data
    return bytes(content)


def try_points(folder: Path, changes: int, points: int, seed: int, keeps_syncs: bool = True) -> Report:
    day, began, events = traced_day(folder, changes)
    chance, rebuilt = random.Random(seed), folder / "rebuilt"
    lost, faults = set(), []
    first, last = events[0].start, events[-1].end
    for number in range(points):
        at = chance.uniform(first, last)
        shutil.rmtree(rebuilt, ignore_errors=True)
        rebuilt.mkdir()
        for name in NAMES:
            own = [event for event in events if event.file == name]
            (rebuilt / name).write_bytes(after_power_loss(began[name], own, at, chance, keeps_syncs))
        lost |= busy_day.lost(day, rebuilt / NAMES[0], before=at)
        faults += [f"point {number}: {fault}" for fault in busy_day.faults(rebuilt / NAMES[0])]
    syncs = sum(event.is_sync for event in events)
    return Report(points, len(day.answered), syncs, tuple(sorted(lost)), tuple(faults))
