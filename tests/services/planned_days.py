"""Days with pilots, and a planner so small that a test can foresee its answer."""

from typing import Any

from sqlmodel import Session

from server.allocator.errors import Cancelled
from server.allocator.plan import DayPlan, Heat, Progress, Slot
from server.allocator.problem import DayProblem
from server.services import draft_changes, planning
from server.services.jobs import KeepGoing
from server.services.planning import Answer
from server.services.standings import open_draft, version_of
from server.storage.tables import FieldDay
from tests.factories import NOW, make_day, make_pilot

RACE_MHZ = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)
CALLSIGNS = ("Wren", "Otter", "Rook", "Quill", "Teasel", "Umber")
SETTINGS: dict[str, Any] = {"responsibility": "The club's chair answers for it."}


def day_with_pilots(session: Session, *callsigns: str, **values: Any) -> FieldDay:
    """A day that can publish, with pilots of all bands and two power steps."""
    day = make_day(session, **SETTINGS | values)
    for callsign in callsigns or CALLSIGNS:
        make_pilot(session, day, callsign, power_mw="25 200")
    return day


def tiny_plan(problem: DayProblem, _keep_going: KeepGoing | None = None) -> DayPlan:
    """Pilots in roster order, filled into heats, on the channels of one band from the lowest."""
    size = problem.aircraft
    heats = []
    for start in range(0, len(problem.pilots), size):
        slots = tuple(
            Slot(pilot.callsign, pilot.pin_mhz[0] if pilot.pin_mhz else RACE_MHZ[place], 25.0)
            for place, pilot in enumerate(problem.pilots[start : start + size])
        )
        heats.append(Heat(len(heats) + 1, 1, slots, None, None, True))
    return DayPlan("optimal", tuple(heats), bound_db=9.0, gap_db=0.0, common_power_mw=25.0, nodes=7)


def waiting_plan(problem: DayProblem, keep_going: KeepGoing) -> DayPlan:
    """Never ends by itself: tells progress until somebody cancels."""
    while keep_going(Progress("stage of the test", 41, 1.5)):
        pass
    raise Cancelled("the planning was cancelled")


def plan_at_once(session: Session, day: FieldDay, plan_day: Any = tiny_plan) -> None:
    """Make the planner's answer the draft, without a thread."""
    question = planning.ask(session, day)
    answer = Answer(question, plan_day(question.problem, None))
    planning.keep_all_the_same(session, day, question.version, answer, NOW)


def version(session: Session, day: FieldDay) -> int:
    return version_of(open_draft(session, day)[0])


def edit(session: Session, day: FieldDay, change: Any) -> str:
    """One edit of the draft as it is."""
    return draft_changes.edit(session, day, version(session, day), change, NOW).text
