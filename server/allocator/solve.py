"""The planner's front door: a question in, a plan or the reason for none out."""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from threading import Lock

from server.allocator.changes import trade_offs
from server.allocator.errors import ProblemError
from server.allocator.plan import CompareRow, DayPlan, Heat, Progress, Slot
from server.allocator.planner import Planner
from server.allocator.problem import DayProblem, Pilot
from server.allocator.provisional import provisional_channel
from server.allocator.rest import RestOfDay
from server.allocator.schedule import frame_of
from server.radio.grade import picture_grade

COMPARED_AIRCRAFT = range(3, 9)


def plan_day(problem: DayProblem, keep_going: Callable[[Progress], bool] | None = None) -> DayPlan:
    """Heats, channels and powers for a day, or the rules that forbid every plan.

    keep_going   told how far the search is, every 50 ms or less; False cancels

    The same answer every time for the same question and seed, unless ``time_limit_s`` stops the search, which
    the status and the notes then say. Raises ProblemError for an empty roster, Cancelled when the caller or
    the time limit stopped it before there was any plan.
    """
    if not problem.pilots:
        raise ProblemError("there is no pilot to plan for", "check pilots in first")
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


def warm_up() -> None:
    """Compile or load everything that a plan or a provisional channel needs.

    Takes some fifteen seconds on a machine that never did it, a quarter of a second after that, nothing from the
    second call on. Safe to call from several threads: all wait until it is done.
    """
    with _one_warms_up:
        _warm_up()


_one_warms_up = Lock()


@lru_cache(maxsize=1)
def _warm_up() -> None:
    crowd = tuple(Pilot(str(number), (5658, 5695, 5732, 5769)) for number in range(4))
    provisional_channel(crowd[0], (), DayProblem((), aircraft=2))
    Planner(DayProblem(crowd, aircraft=2, rounds=2, time_limit_s=None), None).run()
    trade_offs(
        RestOfDay(
            DayProblem(crowd, aircraft=5), (Heat(1, 1, (Slot("0", 5658, 25.0),), None, None, False),), 1, 25.0
        )
    )
    for node_limit in (1, 1_000):  # also what is only asked of a search that was stopped
        day = DayProblem(crowd[:3], one_heat=True, node_limit=node_limit, time_limit_s=None)
        Planner(day, None).run()
