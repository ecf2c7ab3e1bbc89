import threading

import pytest

from server.allocator.errors import Cancelled, ProblemError
from server.allocator.plan import Conflict, DayPlan, Progress
from server.services import advice_words, draft_changes, edits, planning
from server.services.errors import RefusedError
from server.services.jobs import OUR_FAULT, Jobs
from server.services.standings import standing
from server.storage import days, pilots
from tests.factories import FIRST_CLUB, NOW, make_pilot
from tests.services.changed_days import publish
from tests.services.planned_days import day_with_pilots, edit, tiny_plan, version, waiting_plan
from tests.waiting import until

PATIENCE_S = 10
DAY = 7


@pytest.fixture
def jobs():
    jobs = Jobs()
    yield jobs
    jobs.close()


def ended(job):
    until(lambda: not job.is_running)
    return job


def until_told(job):
    """Wait until the job has told its first progress."""
    until(lambda: job.progress)


def endless(keep_going):
    return waiting_plan(None, keep_going)


class TestJobs:
    def test_keeps_the_result(self, jobs):
        job = ended(jobs.start(DAY, "plan", lambda _keep_going: 42))
        assert (job.state, job.result) == ("done", 42)
        assert jobs.latest(DAY, "plan") is job
        assert jobs.running(DAY) is None

    def test_one_at_a_time_for_a_day_of_any_kind(self, jobs):
        job = jobs.start(DAY, "plan", endless)
        with pytest.raises(RefusedError, match="already"):
            jobs.start(DAY, "compare", endless)
        other_day = ended(jobs.start(DAY + 1, "compare", lambda _keep_going: "beside it"))
        assert other_day.result == "beside it"
        jobs.cancel(DAY)
        ended(job)

    def test_tells_progress_and_stops_when_asked(self, jobs):
        job = jobs.start(DAY, "plan", endless)
        until_told(job)
        assert job.progress == Progress("stage of the test", 41, 1.5)
        jobs.cancel(DAY)
        assert ended(job).state == "cancelled"

    # What a work raises, and the sentence that a page shows.
    @pytest.mark.parametrize(
        ("error", "sentence"),
        [
            (ProblemError("13 aircraft at once", "give a number from 1 to 12"), "13 aircraft at once: give"),
            (Cancelled("the limit came first"), "There is no plan yet: the limit came first."),
            (RefusedError("Check the pilots in first."), "Check the pilots in first."),
            (ZeroDivisionError(), OUR_FAULT),
        ],
    )
    def test_an_error_ends_as_a_sentence(self, jobs, error, sentence):
        def fails(_keep_going):
            raise error

        job = ended(jobs.start(DAY, "plan", fails))
        assert job.state == "failed"
        assert job.error.startswith(sentence)

    def test_what_ended_can_be_forgotten_but_not_what_runs(self, jobs):
        job = jobs.start(DAY, "plan", endless)
        jobs.forget(DAY, "plan")
        assert jobs.latest(DAY, "plan") is job
        jobs.cancel(DAY)
        ended(job)
        jobs.forget(DAY, "plan")
        assert jobs.latest(DAY, "plan") is None

    def test_closing_stops_what_runs(self):
        jobs = Jobs()
        job = jobs.start(DAY, "plan", endless)
        jobs.close()
        assert job.state == "cancelled"


class Planned:
    """A planner that a test can hold up between question and answer."""

    def __init__(self):
        self.asked, self.may_answer = threading.Event(), threading.Event()

    def __call__(self, problem, keep_going):
        self.asked.set()
        assert self.may_answer.wait(PATIENCE_S)
        return tiny_plan(problem, keep_going)


class TestPlanning:
    def start(self, database, jobs, plan_day, are_heats_given=False):
        with database.read() as session:
            question = planning.ask(session, days.current(session, FIRST_CLUB), are_heats_given)
        return planning.start_planning(database, jobs, question, plan_day, lambda: NOW)

    def test_the_answer_becomes_the_draft(self, database, jobs):
        with database.write() as session:
            day_with_pilots(session, "Wren", "Otter")
        job = ended(self.start(database, jobs, tiny_plan))
        assert job.result.is_kept
        with database.read() as session:
            now = standing(session, days.current(session, FIRST_CLUB))
            assert [slot["callsign"] for slot in now.draft.snapshot["heats"][0]["slots"]] == ["Wren", "Otter"]
            assert now.draft.undo == "Planned 2 pilots in 1 heat."

    def test_what_would_help_is_known_before_the_plan_goes_out(self, database, jobs):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", "Otter")
        ended(self.start(database, jobs, tiny_plan))
        known = advice_words._heat_advice.cache_info().misses
        with database.write() as session:
            publish(session, day)
        assert advice_words._heat_advice.cache_info().misses == known

    def test_a_roster_that_changed_meanwhile_leaves_both_to_choose_from(self, database, jobs):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", "Otter")
        planner = Planned()
        job = self.start(database, jobs, planner)
        assert planner.asked.wait(PATIENCE_S)
        with database.write() as session:
            make_pilot(session, day, "Rook")
            pilots.by_callsign_key(session, day.id, "otter").state = "withdrawn"
            aircraft = pilots.aircraft_of(session, pilots.by_callsign_key(session, day.id, "wren").id)
            aircraft[0].antenna = "lhcp"
        planner.may_answer.set()
        answer = ended(job).result
        assert not answer.is_kept
        assert answer.meanwhile == (
            "Rook came in.",
            "Otter left.",
            "Wren's gear, channel or wishes changed.",
        )
        with database.write() as session:
            day = days.current(session, FIRST_CLUB)
            assert standing(session, day).draft.content.heats == ()
            planning.keep_all_the_same(session, day, version(session, day), answer, NOW)
            kept = standing(session, day).draft.snapshot["heats"]
            assert [slot["callsign"] for slot in kept[0]["slots"]] == ["Wren"]

    def test_a_draft_that_was_edited_meanwhile_is_not_overwritten(self, database, jobs):
        with database.write() as session:
            day_with_pilots(session, "Wren", "Otter")
        ended(self.start(database, jobs, tiny_plan))
        planner = Planned()
        job = self.start(database, jobs, planner)
        assert planner.asked.wait(PATIENCE_S)
        with database.write() as session:
            day = days.current(session, FIRST_CLUB)
            wren = pilots.by_callsign_key(session, day.id, "wren").id
            edit(session, day, lambda content, basis: edits.remove(content, basis, 1, wren))
        planner.may_answer.set()
        answer = ended(job).result
        assert answer.meanwhile == ("The draft was changed by hand.",)
        with database.read() as session:
            assert (
                len(standing(session, days.current(session, FIRST_CLUB)).draft.snapshot["heats"][0]["slots"])
                == 1
            )

    def test_a_site_that_changed_meanwhile_is_named(self, database, jobs):
        with database.write() as session:
            day_with_pilots(session, "Wren")
        planner = Planned()
        job = self.start(database, jobs, planner)
        assert planner.asked.wait(PATIENCE_S)
        with database.write() as session:
            draft_changes.ban(session, days.current(session, FIRST_CLUB), 0, 5880, NOW)
        planner.may_answer.set()
        assert "The site, the rules or the number of aircraft changed." in ended(job).result.meanwhile

    def test_no_plan_leaves_the_draft_and_names_the_rules(self, database, jobs):
        with database.write() as session:
            day_with_pilots(session, "Wren")
        conflict = Conflict(("one", "two"), "One and two cannot hold.", ("Lift two.",))
        job = ended(self.start(database, jobs, lambda *_: DayPlan("infeasible", conflicts=(conflict,))))
        assert not job.result.is_kept
        assert job.result.plan.conflicts == (conflict,)
        with database.read() as session:
            assert version(session, days.current(session, FIRST_CLUB)) == 0

    def test_given_heats_are_asked_as_they_stand(self, database):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", "Otter", "Rook")
            edit(session, day, lambda content, basis: edits.put_in(content, basis, "Rook Wren"))
            question = planning.ask(session, day, are_heats_given=True)
        assert question.problem.heats_given == (("Rook", "Wren"),)
        assert [pilot.callsign for pilot in question.problem.pilots] == ["Wren", "Rook"]

    def test_nobody_to_plan_for_is_said_before_anything_starts(self, database):
        with database.write() as session:
            day = day_with_pilots(session, "Wren")
            pilots.by_callsign_key(session, day.id, "wren").state = "no-show"
            session.flush()
            with pytest.raises(RefusedError, match="check the pilots in"):
                planning.ask(session, day)

    def test_how_many_can_fly_is_worked_out_beside_the_page(self, database, jobs):
        with database.write() as session:
            question = planning.ask(session, day_with_pilots(session, "Wren"))
        job = planning.start_comparing(jobs, question, 5, lambda problem, minutes, _: (problem, minutes))
        assert ended(job).result.rows == (question.problem, 5)
