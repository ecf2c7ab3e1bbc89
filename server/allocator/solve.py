"""The planner's front door: a question in, a plan or the reason for none out."""

from collections.abc import Callable
from dataclasses import replace

from server.allocator.errors import ProblemError
from server.allocator.plan import CompareRow, DayPlan, Progress
from server.allocator.planner import Planner
from server.allocator.problem import DayProblem
from server.allocator.schedule import frame_of
from server.allocator.warming import warm_up
from server.radio.grade import picture_grade
from server.wording import gettext as _

COMPARED_AIRCRAFT = range(3, 9)


def plan_day(problem: DayProblem, keep_going: Callable[[Progress], bool] | None = None) -> DayPlan:
    """Heats, channels and powers for a day, or the rules that forbid every plan.

    keep_going   told how far the search is, every 50 ms or less; False cancels

    The same answer every time for the same question and seed, unless ``time_limit_s`` stops the search, which
    the status and the notes then say. Raises ProblemError for an empty roster, Cancelled when the caller or
    the time limit stopped it before there was any plan.
    """
    if not problem.pilots:
        raise ProblemError(_("there is no pilot to plan for"), _("check pilots in first"))
    warm_up()  # before the clock of the time limit starts
    return Planner(problem, keep_going).run()


def how_many_can_fly(
    problem: DayProblem, minutes_a_heat: float, keep_going: Callable[[Progress], bool] | None = None
) -> tuple[CompareRow, ...]:
    """For 3 to 8 aircraft at once: heats of a round, its worst margin and grade, and how long it takes."""
    warm_up()
    common_mw: float | None = None
    rows = []
    for aircraft in COMPARED_AIRCRAFT:
        trial = replace(problem, aircraft=aircraft, one_heat=False, heats_given=None)
        frame = frame_of(trial)
        look = Planner(trial, keep_going).look(common_mw)
        # Which level of power is best hardly depends on how many fly: it is looked for once.
        common_mw = look.common_mw or common_mw
        grade = 1.0 if look.why_not else picture_grade(look.margin_db)
        minutes = frame.heats * minutes_a_heat
        rows.append(
            CompareRow(aircraft, frame.heats, look.margin_db, look.bound_db, grade, minutes, look.why_not)
        )
        if frame.heats == 1:
            break
    return tuple(rows)
