"""Who is in the air as it was called, and who is around: what a report of trouble is judged by."""

from dataclasses import dataclass

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down


@dataclass(frozen=True)
class Flier:
    """Somebody in the air as called; `is_confirmed`: seen on the channel since its last change."""

    seat: Seat
    is_confirmed: bool = False


@dataclass(frozen=True)
class OnGround:
    """Somebody who does not fly.

    mhz       what the set was last on, as far as anybody knows; None: nobody does
    power_mw  what it may come up with in the pits
    is_next   READY for the next heat, or just landed, so at hand
    is_on     known to be on, unasked or cleared
    """

    pilot: Pilot
    mhz: int | None
    power_mw: float
    is_next: bool = False
    is_on: bool = False


@dataclass(frozen=True)
class Air:
    """A heat in the air as it was called, and everybody around it. The site carries outside signals."""

    problem: DayProblem
    fliers: tuple[Flier, ...]
    ground: tuple[OnGround, ...] = ()
    down: tuple[Down, ...] = ()

    def place(self, callsign: str) -> int:
        """Who flies, by index. Raises ValueError for anybody else."""
        return [one.seat.pilot.callsign for one in self.fliers].index(callsign)
