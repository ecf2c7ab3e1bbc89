"""Long computations in threads of their own: one at a time for each day, with progress, cancel and an end.

A job keeps its last words until the next one of its kind starts, so that a page that comes late still tells how
it went. Nothing is kept over a restart: what a job computes can be computed again.
"""

import itertools
import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

from server.allocator.errors import AllocatorError, Cancelled
from server.allocator.plan import Progress
from server.services.errors import RefusedError, ServiceError
from server.wording import gettext as _
from server.wording import marked

log = logging.getLogger("bandstand")

WORKERS = 2
BUSY = marked("This day is being computed already. Wait for it, or cancel it first.")
OUR_FAULT = marked(
    "The computation stopped by a fault of ours; nothing was changed. Try again, and look at the log."
)

State = Literal["running", "done", "cancelled", "failed"]
KeepGoing = Callable[[Progress], bool]
Work = Callable[[KeepGoing], Any]


@dataclass
class Job:
    """One computation.

    kind      "plan" or "compare"
    progress  the last that the computation told, None before
    result    what the work returned, once done
    error     one sentence, once failed
    """

    number: int
    kind: str
    field_day_id: int
    state: State = "running"
    progress: Progress | None = None
    result: Any = None
    error: str = ""
    is_cancel_wished: bool = False

    @property
    def is_running(self) -> bool:
        return self.state == "running"

    def tell(self, progress: Progress) -> bool:
        """Take note of progress; False once somebody wishes to cancel."""
        self.progress = progress
        return not self.is_cancel_wished


class Jobs:
    """The jobs of all days; one object for a process."""

    def __init__(self, workers: int = WORKERS) -> None:
        self._pool = ThreadPoolExecutor(workers, thread_name_prefix="bandstand-job")
        self._numbers = itertools.count(1)
        # Two presses at once must not start two jobs of a day.
        self._lock = threading.Lock()
        self._latest: dict[tuple[int, str], Job] = {}

    def start(self, field_day_id: int, kind: str, work: Work) -> Job:
        """Run `work` in a thread. Raises RefusedError while another job of the day runs."""
        with self._lock:
            if self.running(field_day_id):
                raise RefusedError(_(BUSY))
            job = Job(next(self._numbers), kind, field_day_id)
            self._latest[field_day_id, kind] = job
        self._pool.submit(carry_out, job, work)
        return job

    def latest(self, field_day_id: int, kind: str) -> Job | None:
        return self._latest.get((field_day_id, kind))

    def running(self, field_day_id: int) -> Job | None:
        jobs = [job for (day_id, _), job in list(self._latest.items()) if day_id == field_day_id]
        return next((job for job in jobs if job.is_running), None)

    def cancel(self, field_day_id: int) -> None:
        """Ask the day's job to stop; it does so within 50 ms of its search."""
        if job := self.running(field_day_id):
            job.is_cancel_wished = True

    def forget(self, field_day_id: int, kind: str) -> None:
        """Drop what an ended job said; a running one stays."""
        with self._lock:
            job = self._latest.get((field_day_id, kind))
            if job and not job.is_running:
                del self._latest[field_day_id, kind]

    def close(self) -> None:
        """Cancel everything and wait for the threads."""
        for job in list(self._latest.values()):
            job.is_cancel_wished = True
        self._pool.shutdown(wait=True, cancel_futures=True)


def carry_out(job: Job, work: Work) -> None:
    """Do the work; however it ends, the job then says so."""
    try:
        result = work(job.tell)
        job.result, job.state = result, "done"
    except Cancelled as stopped:
        if job.is_cancel_wished:
            job.state = "cancelled"
        else:
            job.error, job.state = _("There is no plan yet: %(why)s.", why=stopped), "failed"
    except (AllocatorError, ServiceError) as error:
        job.error, job.state = _sentence(str(error)), "failed"
    except Exception:
        log.exception("job %s of day %s failed", job.kind, job.field_day_id)
        job.error, job.state = _(OUR_FAULT), "failed"


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."
