"""Waiting for what other threads do, with an end."""

import time
from collections.abc import Callable
from typing import Any

PATIENCE_S = 120
"""The first search on a machine compiles it."""


def until(find: Callable[[], Any], patience_s: float = PATIENCE_S) -> Any:
    """What `find` returns once it is true. Raises AssertionError when it does not come."""
    deadline = time.monotonic() + patience_s
    while not (found := find()):
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.005)
    return found


def ended_job(jobs, field_day_id, kind):
    """The day's latest job of that kind, once it has ended; also where each look makes it anew from its row."""
    return until(lambda: (job := jobs.latest(field_day_id, kind)) and not job.is_running and job)
