"""Jobs of two server processes on one PostgreSQL database; here both live in this process."""

from dataclasses import dataclass
from datetime import timedelta
from threading import Event

import pytest

from server.allocator.errors import Cancelled
from server.allocator.plan import Progress
from server.services.errors import RefusedError
from server.services.jobs import OUR_FAULT
from server.services.shared_jobs import LOST, LOST_AFTER, SharedJobs
from server.storage import jobs as stored
from server.storage.session import Database
from tests.factories import NOW, make_day
from tests.waiting import until


@dataclass(frozen=True)
class Found:
    heats: tuple[tuple[str, ...], ...]
    margin_db: float | None


FOUND = Found((("Wren", "Otter"), ("Rook",)), None)


@pytest.fixture
def database(postgresql):
    with postgresql.database() as address:
        database = Database(address)
        yield database
        database.close()


@pytest.fixture
def day_id(database):
    with database.write() as session:
        return make_day(session).id


@pytest.fixture
def clock():
    return Clock()


class Clock:
    now = NOW

    def __call__(self):
        return self.now


@pytest.fixture
def jobs(database, clock):
    jobs = SharedJobs(database, {"plan": Found, "compare": Found}, clock)
    yield jobs
    jobs.close()


@pytest.fixture
def other(database, clock):
    """The jobs as another process has them."""
    jobs = SharedJobs(database, {"plan": Found, "compare": Found}, clock)
    yield jobs
    jobs.close()


def endless(keep_going):
    while keep_going(Progress("stage of the test", 41, 1.5)):
        Event().wait(0.01)
    raise Cancelled("asked to")


def ended(jobs, day_id, kind="plan"):
    return until(lambda: jobs.running(day_id) is None and jobs.latest(day_id, kind))


def test_another_process_shows_the_result_as_it_was(jobs, other, day_id):
    number = jobs.start(day_id, "plan", lambda _keep_going: FOUND).number
    job = ended(other, day_id)
    assert (job.number, job.state, job.result) == (number, "done", FOUND)


def test_another_process_shows_progress_and_cancels(jobs, other, day_id):
    jobs.start(day_id, "plan", endless)
    job = until(lambda: (found := other.running(day_id)) and found.progress and found)
    assert job.progress == Progress("stage of the test", 41, 1.5)
    other.cancel(day_id)
    assert ended(other, day_id).state == "cancelled"


def test_a_day_has_one_job_over_all_processes(jobs, other, day_id):
    jobs.start(day_id, "plan", endless)
    with pytest.raises(RefusedError, match="already"):
        other.start(day_id, "compare", endless)
    jobs.cancel(day_id)
    ended(jobs, day_id)
    assert ended(other, day_id).state == "cancelled"
    other.start(day_id, "compare", lambda _keep_going: FOUND)
    assert ended(jobs, day_id, "compare").result == FOUND


def test_an_error_ends_as_a_sentence_everywhere(jobs, other, day_id):
    def fails(_keep_going):
        raise ZeroDivisionError

    jobs.start(day_id, "plan", fails)
    job = ended(other, day_id)
    assert (job.state, job.error) == ("failed", OUR_FAULT)


def test_a_job_whose_process_ended_is_shown_as_failed_and_frees_the_day(database, jobs, clock, day_id):
    with database.write() as session:
        stored.add(session, day_id, "plan", clock.now)
    clock.now += LOST_AFTER
    assert jobs.running(day_id)
    clock.now += timedelta(seconds=1)
    assert jobs.running(day_id) is None
    assert (jobs.latest(day_id, "plan").state, jobs.latest(day_id, "plan").error) == ("failed", LOST)
    jobs.start(day_id, "compare", lambda _keep_going: FOUND)
    assert ended(jobs, day_id, "compare").result == FOUND


def test_what_ended_can_be_forgotten_but_not_what_runs(jobs, other, day_id):
    jobs.start(day_id, "plan", endless)
    other.forget(day_id, "plan")
    assert other.running(day_id)
    other.cancel(day_id)
    ended(jobs, day_id)
    other.forget(day_id, "plan")
    assert jobs.latest(day_id, "plan") is None


def test_closing_ends_what_runs_here_and_says_so_there(database, clock, other, day_id):
    jobs = SharedJobs(database, {"plan": Found}, clock)
    jobs.start(day_id, "plan", endless)
    jobs.close()
    assert other.latest(day_id, "plan").state == "cancelled"
