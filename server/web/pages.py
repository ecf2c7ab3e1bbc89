"""What each page receives: one class for a template, its fields the names that the template may use."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from server.services.board import Board
from server.services.heat_sheets import By, HeatSheet
from server.services.line_desk import LineDesk
from server.services.slots import MySlot
from server.services.timeline_chart import TimelinePicture
from server.services.turn_views import DeskOfTurns
from server.storage.tables import Club, FieldDay, LogbookEntry
from server.web.live_mark import LiveMark
from server.web.templating import Page


@dataclass(frozen=True)
class SignInPage(Page):
    """`role` and `club` are chosen already; a server of one club asks for none.

    reset_options  what follows `organizer reset` at a terminal: for the chosen club, else for each
    """

    template: ClassVar[str] = "access/page.html"
    next: str
    role: str
    club: str
    clubs: Sequence[Club]
    reset_options: Sequence[str]
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LogbookOfDay(Page):
    template: ClassVar[str] = "logbook/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    entries: Sequence[LogbookEntry]
    older_before: int | None
    is_newest: bool
    timeline: TimelinePicture | None


@dataclass(frozen=True)
class NoDayPage(Page):
    """What strangers see before the first field day is made."""

    template: ClassVar[str] = "board/no_day.html"


@dataclass(frozen=True)
class WhichBoardPage(Page):
    """What strangers see first where several clubs keep their days: no club's board, but the way to each."""

    template: ClassVar[str] = "board/which.html"
    code: str = ""
    error: str = ""


@dataclass(frozen=True)
class BoardPage(Page):
    template: ClassVar[str] = "board/page.html"
    board: Board
    heartbeat_ms: int


@dataclass(frozen=True)
class SlotPage(Page):
    template: ClassVar[str] = "slot/page.html"
    slot: MySlot
    heartbeat_ms: int
    notice: str = ""


@dataclass(frozen=True)
class NoSlotPage(Page):
    """Behind a link that belongs to no pilot, or no longer."""

    template: ClassVar[str] = "slot/no_slot.html"


@dataclass(frozen=True)
class OpenFlyingPage(Page):
    """The desk of open flying.

    line     as typed, where it could not be taken; `faults` says why, `notice` what else was refused
    again    where the words of an override that was refused go again; `form` is as typed
    """

    template: ClassVar[str] = "open_flying/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    desk: DeskOfTurns
    callsigns: Sequence[str]
    heartbeat_ms: int
    line: str = ""
    faults: Sequence[str] = ()
    notice: str = ""
    again: str = ""
    form: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LinePage(Page):
    """The flight line; `form` is as typed where something was refused, `notice` says why.

    again   where the words of an override that was refused go again
    """

    template: ClassVar[str] = "line/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    desk: LineDesk
    heartbeat_ms: int
    notice: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)
    again: str = ""


@dataclass(frozen=True)
class LineClock(Page):
    """The hours of the day alone, to be put in their place; `desk` has a clock."""

    template: ClassVar[str] = "line/_clock.html"
    desk: LineDesk


@dataclass(frozen=True)
class LineTimeline(Page):
    """The day along its hours alone, to be put in its place."""

    template: ClassVar[str] = "line/_timeline.html"
    desk: LineDesk


@dataclass(frozen=True)
class HeatSheetPage(Page):
    """`sheet` None before the first plan is published."""

    template: ClassVar[str] = "heat_sheet/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    sheet: HeatSheet | None
    by: By
    antennas: Mapping[str, str]
