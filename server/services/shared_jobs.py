"""Jobs where several server processes work on one database: any of them can show, cancel and take up each job.

The process that started a job computes it as ever. Beside it, twice a second, it writes down how far its jobs are
and reads who wishes them to end. A job that nobody has written of for a while was lost with its process; it is
shown as failed, and the day is free for the next one.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any, cast

from pydantic import TypeAdapter

from server.allocator.plan import Progress
from server.services.errors import RefusedError
from server.services.jobs import BUSY, WORKERS, Job, Jobs, State, Work, carry_out
from server.storage import jobs as stored
from server.storage.session import Database
from server.storage.tables import RUNNING, StoredJob
from server.wording import gettext as _
from server.wording import marked

log = logging.getLogger("bandstand")

BEAT_S = 0.5
LOST_AFTER = timedelta(seconds=10)
LOST = marked("The server process that computed this has ended; nothing was changed. Try again.")

_progress = TypeAdapter(Progress)


class SharedJobs(Jobs):
    """The jobs of all days, kept in the database.

    results  by kind, the type of what its work returns: dataclasses that survive JSON unchanged
    """

    def __init__(
        self,
        database: Database,
        results: Mapping[str, type],
        clock: Callable[[], datetime],
        workers: int = WORKERS,
    ) -> None:
        super().__init__(workers)
        self._database, self._clock = database, clock
        self._results: dict[str, TypeAdapter[Any]] = {
            kind: TypeAdapter(result) for kind, result in results.items()
        }
        self._own: dict[int, Job] = {}
        self._is_closed = threading.Event()
        self._beating = threading.Thread(target=self._beat, name="bandstand-jobs-beat", daemon=True)
        self._beating.start()

    def start(self, field_day_id: int, kind: str, work: Work) -> Job:
        with self._database.write() as session:
            for row in stored.of_day(session, field_day_id):
                if self._is_lost(row):
                    row.state, row.error = "failed", _(LOST)
                elif row.state == RUNNING:
                    raise RefusedError(_(BUSY))
            session.flush()
            number = stored.add(session, field_day_id, kind, self._clock()).id
        assert number is not None
        job = self._own[number] = Job(number, kind, field_day_id)
        self._pool.submit(self._carry_out, job, work)
        return job

    def latest(self, field_day_id: int, kind: str) -> Job | None:
        return next((job for job in self._of_day(field_day_id) if job.kind == kind), None)

    def running(self, field_day_id: int) -> Job | None:
        return next((job for job in self._of_day(field_day_id) if job.is_running), None)

    def cancel(self, field_day_id: int) -> None:
        """Ask the day's job to stop; in whatever process it runs, it hears of it at the next beat."""
        with self._database.write() as session:
            for row in stored.of_day(session, field_day_id):
                row.is_cancel_wished = True
        for job in list(self._own.values()):
            job.is_cancel_wished |= job.field_day_id == field_day_id

    def forget(self, field_day_id: int, kind: str) -> None:
        with self._database.write() as session:
            stored.forget(session, field_day_id, kind)

    def close(self) -> None:
        for job in list(self._own.values()):
            job.is_cancel_wished = True
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._is_closed.set()
        self._beating.join()

    def _of_day(self, field_day_id: int) -> list[Job]:
        with self._database.read() as session:
            return [self._as_job(row) for row in stored.of_day(session, field_day_id)]

    def _as_job(self, row: StoredJob) -> Job:
        assert row.id is not None
        if self._is_lost(row):
            return Job(row.id, row.kind, row.field_day_id, "failed", error=_(LOST))
        return Job(
            row.id,
            row.kind,
            row.field_day_id,
            cast(State, row.state),
            _progress.validate_json(row.progress_json) if row.progress_json else None,
            self._results[row.kind].validate_json(row.result_json) if row.result_json else None,
            row.error,
            row.is_cancel_wished,
        )

    def _is_lost(self, row: StoredJob) -> bool:
        return row.state == RUNNING and row.heard_at < self._clock() - LOST_AFTER

    def _carry_out(self, job: Job, work: Work) -> None:
        carry_out(job, work)
        try:
            self._write_down(job)
        except Exception:
            log.exception("the end of job %s of day %s could not be written down", job.kind, job.field_day_id)
        finally:
            del self._own[job.number]

    def _beat(self) -> None:
        while not self._is_closed.wait(BEAT_S):
            for job in list(self._own.values()):
                try:
                    self._write_down(job)
                except Exception:
                    log.exception("job %s of day %s cannot tell how far it is", job.kind, job.field_day_id)

    def _write_down(self, job: Job) -> None:
        state = job.state  # first: once it says done, the result is there
        result = self._json(job)
        with self._database.write() as session:
            row = stored.by_id(session, job.number)
            if row is None or row.state != RUNNING:
                return
            job.is_cancel_wished |= row.is_cancel_wished
            row.progress_json = _progress.dump_json(job.progress).decode() if job.progress else ""
            row.result_json, row.error, row.heard_at = result, job.error, self._clock()
            row.state = state

    def _json(self, job: Job) -> str:
        result: Any = job.result
        return "" if result is None else self._results[job.kind].dump_json(result).decode()
