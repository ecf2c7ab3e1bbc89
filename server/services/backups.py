"""Backups by themselves: soon after each publish, and every so often while something changes."""

import logging
import sqlite3
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from threading import Event, Thread

from server.storage import backups
from server.wording import gettext as _
from server.wording import time_of_day

log = logging.getLogger("bandstand")


class BackupKeeper:
    """Copies a data file in a thread of its own, so that nobody waits; of a PostgreSQL database it copies nothing.

    trouble  why there is no newer backup, for the director's pages; empty while all is well
    """

    def __init__(
        self, place: Path | str, folder: Path, kept: int, every_s: float, clock: Callable[[], datetime]
    ) -> None:
        self._place, self._folder, self._kept = place, folder, kept
        self._every_s, self._clock = every_s, clock
        self._wished, self._is_over = Event(), Event()
        self._thread: Thread | None = None
        self.trouble = ""

    def open(self) -> None:
        if isinstance(self._place, Path):
            arguments = (self._place,)
            self._thread = Thread(target=self._run, args=arguments, name="bandstand-backups", daemon=True)
            self._thread.start()

    def soon(self) -> None:
        """Make one as soon as may be; returns at once."""
        self._wished.set()

    def copies_before(self, at: datetime | None) -> list[str]:
        """Names of the copies of the data file that are older than this moment; none where it never came."""
        if at is None or not isinstance(self._place, Path):
            return []
        copies = backups.older_copies(self._place, self._folder)
        return [copy.name for copy in copies if copy.stat().st_mtime <= at.timestamp()]

    def remove_copies(self) -> None:
        """Remove all copies that Bandstand made of the data file by itself, and make a new one soon."""
        if isinstance(self._place, Path):
            for copy in backups.older_copies(self._place, self._folder):
                copy.unlink(missing_ok=True)
        self.soon()

    def close(self) -> None:
        self._is_over.set()
        self._wished.set()
        if self._thread:
            self._thread.join()

    def _run(self, file: Path) -> None:
        changes = backups.Changes(file)
        while not self._is_over.is_set():
            is_wished = self._wished.wait(self._every_s)
            self._wished.clear()
            if self._is_over.is_set():
                break
            if is_wished or self.trouble or changes.any():
                changes.note()
                self._make(file)
        changes.close()

    def _make(self, file: Path) -> None:
        at = self._clock()
        try:
            backups.make(file, self._folder, self._kept, at)
        except (OSError, sqlite3.Error) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self.trouble = _(
                "No backup was made at %(time)s: %(reason)s. The day itself is saved as ever. Make room in "
                "%(folder)s or make it writable, or choose another folder with BANDSTAND_BACKUPS.",
                time=time_of_day(at.astimezone()),
                reason=reason,
                folder=self._folder,
            )
            log.warning(self.trouble)
        except Exception:
            self.trouble = _("No backup was made: see what Bandstand printed where it was started.")
            log.exception("a backup failed")
        else:
            self.trouble = ""
