"""What the public board shows: callsigns, heats and channels of the published plan; never a name.

Everything about the plan is read from its snapshot and shown as it was published. Beside it stands only who has
left since and who has come since.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from server.services.day_now import DayNow
from server.services.days import FormerAddress, day_with, settings_of
from server.services.line_board import LineOnBoard, line_on_board
from server.services.turn_views import OpenBoard
from server.storage.tables import CHECKED_IN


@dataclass(frozen=True)
class BoardSlot:
    """One pilot's place; `is_out` when the pilot has left the day since the plan was published."""

    callsign: str
    channel: str | None
    mhz: int
    power_mw: float
    is_out: bool


@dataclass(frozen=True)
class BoardHeat:
    number: int
    round: int
    slots: tuple[BoardSlot, ...]


@dataclass(frozen=True)
class Board:
    """One day's board.

    order             from the database; a board with a lower one is older
    plan_number       None before the first plan is published; `published_at` likewise
    not_in_plan       callsigns that came after the plan, in the order they came
    join_url          where pilots check in from their phones; None where no address is chosen for the day
    former_addresses  given up: what was printed with them is void
    open_flying       who holds which channel without heats; None while nobody flies so
    line              what is called, what is next, and what holds for everybody
    """

    order: int = field(compare=False)
    field_day_id: int
    code: str
    name: str
    date: date
    time_zone: str
    is_archived: bool
    plan_number: int | None
    published_at: datetime | None
    heats: tuple[BoardHeat, ...]
    checked_in: int
    not_in_plan: tuple[str, ...]
    join_url: str | None
    former_addresses: tuple[FormerAddress, ...]
    line: LineOnBoard
    open_flying: OpenBoard | None = None

    @property
    def shows_line(self) -> bool:
        """Whether the flight line stands on top: not while pilots fly without heats and nothing is called."""
        return not self.is_archived and (self.line.is_in_use or bool(self.heats and self.open_flying is None))

    @property
    def join_address(self) -> str:
        """As somebody types it: browsers add the http by themselves. Without an address for phones, the path."""
        return (self.join_url or f"/join/{self.code}").removeprefix("http://")

    @property
    def widest(self) -> int:
        """The slots of the fullest heat."""
        return max((len(heat.slots) for heat in self.heats), default=0)

    @property
    def rounds(self) -> tuple[tuple[int, tuple[BoardHeat, ...]], ...]:
        """Heats by round, both in the order of flying."""
        numbers = sorted({heat.round for heat in self.heats})
        return tuple((one, tuple(heat for heat in self.heats if heat.round == one)) for one in numbers)


def board_of(session: Session, code: str) -> Board:
    """The board of the day with this code. Raises NotFoundError."""
    return board_of_day(session, DayNow(session, day_with(session, code)))


def board_of_day(session: Session, now: DayNow) -> Board:
    day, plan = now.day, now.plan
    assert day.id is not None
    present = {pilot.id: pilot.callsign for pilot in now.roster if pilot.state == CHECKED_IN}
    heats = now.snapshot["heats"] if now.snapshot else []
    placed = {slot["pilot_id"] for heat in heats for slot in heat["slots"]}
    return Board(
        order=now.order,
        field_day_id=day.id,
        code=day.code,
        name=day.name,
        date=day.date,
        time_zone=day.time_zone,
        is_archived=day.archived_at is not None,
        plan_number=plan.number if plan else None,
        published_at=plan.published_at if plan else None,
        heats=tuple(_heat(heat, present) for heat in heats if heat["slots"]),
        checked_in=len(present),
        not_in_plan=tuple(callsign for id, callsign in present.items() if id not in placed) if plan else (),
        join_url=f"{day.base_url}/join/{day.code}" if day.base_url else None,
        former_addresses=settings_of(day).former_addresses,
        open_flying=now.flying.board(),
        line=line_on_board(session, day, now.line, now.flying),
    )


def _heat(heat: Mapping[str, Any], present: Collection[int | None]) -> BoardHeat:
    slots = tuple(
        BoardSlot(
            callsign=slot["callsign"],
            channel=slot["channel"],
            mhz=slot["mhz"],
            power_mw=slot["power_mw"],
            is_out=slot["pilot_id"] not in present,
        )
        for slot in heat["slots"]
    )
    return BoardHeat(heat["heat"], heat["round"], slots)
