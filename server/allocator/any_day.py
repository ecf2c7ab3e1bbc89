"""The heats of a day that merely keeps the hard rules, with good channels for them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.allocator.feasibility import UndecidedError
from server.allocator.given import channels_for_heats
from server.allocator.heat import KeepGoing
from server.allocator.kernel import Gear
from server.allocator.problem import DayProblem
from server.allocator.schedule import frame_of, takes_part
from server.allocator.whole_days import WholeDay


@dataclass(frozen=True)
class PlacedHeat:
    """One heat by pilots' indices, with a channel for each in MHz."""

    number: int
    round: int
    rows: tuple[int, ...]
    mhz: tuple[int, ...]


def heats_of_day(
    problem: DayProblem, day: WholeDay, powers_mw: Sequence[float], keep_going: KeepGoing
) -> tuple[list[PlacedHeat], Gear]:
    """Heats of a day, with channels that are chosen as for heats that are given."""
    frame = frame_of(problem)
    places: list[tuple[int, int, tuple[int, ...]]] = []
    for number, heat_of in enumerate(day.heat_of, start=1):
        flies = takes_part(problem, frame, number)
        for heat in range(frame.heats):
            rows = tuple(row for row, own in enumerate(heat_of) if own == heat and flies[row])
            if rows:
                places.append(((number - 1) * frame.heats + heat + 1, number, rows))
    members = [rows for _, _, rows in places]
    try:
        answer = channels_for_heats(problem, members, powers_mw, keep_going)
    except UndecidedError:
        # The channels that the day was found with are sure to last.
        answer = channels_for_heats(_pinned(problem, day), members, powers_mw, keep_going)
    return [
        PlacedHeat(number, round_number, rows, mhz)
        for (number, round_number, rows), mhz in zip(places, answer.mhz, strict=True)
    ], answer.gear


def _pinned(problem: DayProblem, day: WholeDay) -> DayProblem:
    return problem.with_pilots(
        tuple(
            pilot if mhz is None else replace(pilot, pin_mhz=(mhz,))
            for pilot, mhz in zip(problem.pilots, day.mhz, strict=True)
        )
    )
