"""One server for one data file: a second would not hear of the first one's changes and show old plans as live."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


class AlreadyServedError(Exception):
    """Another running server has this data file."""


@contextmanager
def only_server(database_file: Path) -> Iterator[None]:
    """Hold the file's place as its only server; the system gives it back however this process ends.

    Raises AlreadyServedError.
    """
    with database_file.with_suffix(".lock").open("a+b") as place:
        try:
            _take(place)
        except OSError as error:
            raise AlreadyServedError(f"{database_file} is served already") from error
        yield


def _take(place: IO[bytes]) -> None:
    """Lock the whole file without waiting; raises OSError if somebody has it."""
    if sys.platform == "win32":
        place.seek(0)
        msvcrt.locking(place.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
