"""Copies of the data file: made through SQLite itself, checked before they are trusted, thinned by one rule.

A copy is written under another name, synced, then renamed: what bears a backup's name is whole, whenever the power
fails. Its name is the moment in UTC that it was made, never earlier than the newest copy's, so that a clock
which was set back does not make the newest copy look old.
"""

import errno
import os
import re
import shutil
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

UNFINISHED = ".part"
DAYS_KEPT = 14
ROOM_LEFT_BYTES = 32 * 2**20
"""A copy that would leave the disk with less is not made: the day itself needs the room."""

_STAMP = "%Y%m%d-%H%M%S"
_NAME = re.compile(r"bandstand-(\d{8}-\d{6})\.sqlite")


class Changes:
    """Tells whether anything was committed to a data file since the last time it was asked; for one thread."""

    def __init__(self, file: Path) -> None:
        self._connection = sqlite3.connect(file)
        self._seen = self._version()

    def any(self) -> bool:
        return self._version() != self._seen

    def note(self) -> None:
        """From here on only what comes later counts."""
        self._seen = self._version()

    def close(self) -> None:
        self._connection.close()

    def _version(self) -> int:
        return int(self._connection.execute("pragma data_version").fetchone()[0])


def make(file: Path, folder: Path, kept: int, at: datetime) -> Path:
    """Copy the data file into the folder, then remove the copies that the rule does not keep.

    Readers and writers of the file go on meanwhile. Raises OSError or sqlite3.Error; no half copy stays.
    """
    folder.mkdir(parents=True, exist_ok=True)
    copy = folder / f"bandstand-{_next_stamp(folder, at)}.sqlite"
    _refuse_without_room(file, folder)
    write_copy(file, copy)
    thin(folder, kept)
    return copy


def write_copy(source_file: Path, copy: Path) -> None:
    """A whole, synced copy under this name, with what stands in the write-ahead log.

    Raises OSError or sqlite3.Error.
    """
    unfinished = copy.with_name(copy.name + UNFINISHED)
    try:
        with (
            closing(sqlite3.connect(f"{source_file.absolute().as_uri()}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(unfinished)) as target,
        ):
            source.backup(target)
            target.execute("pragma journal_mode=delete")  # so that the one file is all of it
        put_in_place(unfinished, copy)
    except BaseException:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise


def put_in_place(unfinished: Path, name: Path) -> None:
    """Rename what was written, so that after a power failure it is there whole or not at all."""
    sync(unfinished)
    unfinished.replace(name)
    sync(name.parent)


def sync(place: Path) -> None:
    """What was written to this file, or the names in this folder, outlast a power failure from now on."""
    if place.is_dir() and os.name == "nt":
        return  # a folder cannot be opened there; the system writes names by itself
    # Windows syncs only what is open for writing.
    descriptor = os.open(place, os.O_RDONLY if place.is_dir() or os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def all_in(folder: Path) -> list[Path]:
    """Every copy, the newest first."""
    if not folder.is_dir():
        return []
    return sorted((one for one in folder.iterdir() if _NAME.fullmatch(one.name)), reverse=True)


def older_copies(file: Path, folder: Path) -> list[Path]:
    """Every copy that Bandstand made of a data file by itself: backups, before migrations, before restores."""
    beside = [
        one for name in ("before", "replaced") for one in sorted(file.parent.glob(f"{file.stem}-{name}-*"))
    ]
    return [*all_in(folder), *beside]


def thin(folder: Path, kept: int) -> None:
    """Keep the newest `kept`, and besides the last copy of each of the last 14 days that have one."""
    copies = all_in(folder)
    last_of_days: dict[str, Path] = {}
    for copy in copies:
        last_of_days.setdefault(_stamp_of(copy)[:8], copy)
    stay = {*copies[:kept], *list(last_of_days.values())[:DAYS_KEPT]}
    for copy in copies:
        if copy not in stay:
            copy.unlink(missing_ok=True)
    for unfinished in folder.glob(f"*.sqlite{UNFINISHED}"):  # of a process that was killed
        unfinished.unlink(missing_ok=True)


def _next_stamp(folder: Path, at: datetime) -> str:
    now = at.astimezone(UTC).replace(microsecond=0)
    if copies := all_in(folder):
        newest = datetime.strptime(_stamp_of(copies[0]), _STAMP).replace(tzinfo=UTC)
        now = max(now, newest + timedelta(seconds=1))
    return now.strftime(_STAMP)


def _stamp_of(copy: Path) -> str:
    match = _NAME.fullmatch(copy.name)
    assert match
    return match[1]


def _refuse_without_room(file: Path, folder: Path) -> None:
    if shutil.disk_usage(folder).free < file.stat().st_size + ROOM_LEFT_BYTES:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))
