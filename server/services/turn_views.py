"""Open flying as people see it: the public board, a pilot's own page, and the desk."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from sqlmodel import Session

from server.allocator.open_flying import margins
from server.radio.grade import grade_word, picture_grade
from server.services import pit_air
from server.services.days import can_publish
from server.services.flight_line import line_of
from server.services.transmitter_words import Facts, Word, word_for
from server.services.turn_lineup import TurnLineup, turn_lineup
from server.services.turn_words import facts_of, is_known_on, ordinal, what_next
from server.storage import clearances, pilots
from server.storage import turns as stored
from server.storage.session import Database
from server.storage.tables import (
    DOWN,
    FLYING,
    LANDING,
    POWER_UP,
    READY,
    WAITING,
    FieldDay,
    OpenFlying,
    Turn,
)
from server.wording import gettext as _
from server.wording import marked

UNDO_SHOWN = 3
"""Turns that ended last, each with its undo."""

_PUBLIC_STATES = {
    READY: marked("getting ready"),
    POWER_UP: marked("powering up"),
    FLYING: marked("in the air"),
    LANDING: marked("landing"),
    DOWN: marked("down, still on"),
}


@dataclass(frozen=True)
class BoardPlace:
    """One place; without a callsign it is free."""

    number: int
    callsign: str = ""
    channel: str | None = None
    mhz: int = 0
    power_mw: float = 0.0
    state: str = "free"


@dataclass(frozen=True)
class OpenBoard:
    """Who holds what, for everyone: places by number, then the queue by callsign."""

    is_open: bool
    places: tuple[BoardPlace, ...]
    queue: tuple[str, ...]


@dataclass(frozen=True)
class MyTurn:
    """A pilot's own turn.

    seen         to be sent with each press
    what_next    what to do now, as sentences
    waiting      how many are in the queue, oneself included while there
    is_nudged    has had the place for long
    acts         what the own phone may do now, of `turns.PILOTS_ACTS`
    """

    turn_id: int
    seen: str
    stage: str
    place: int | None
    mhz: int | None
    power_mw: float | None
    label: str | None
    word: Word
    known_on: bool
    what_next: str
    waiting: int
    is_nudged: bool
    acts: tuple[str, ...]

    @property
    def has_place(self) -> bool:
        return self.stage != WAITING


@dataclass(frozen=True)
class DeskTurn:
    """A turn as the desk sees it.

    seen           to be sent with each press
    word           what the pilot's own page says to the transmitter
    why            what it waits for; empty when nothing is in the way
    margin_db      of its picture now; None for a pilot alone, and in the queue
    is_confirmed   its channel was set
    is_in_doubt    gear or channel changed since the place was given
    acts           of `turns.ACTS`, what may be pressed now, the usual first; "override" takes words
    """

    turn_id: int
    seen: str
    stage: str
    callsign: str
    label: str | None
    mhz: int | None
    power_mw: float | None
    word: Word
    why: str
    margin_db: float | None
    asked_at: datetime
    seated_at: datetime | None
    is_confirmed: bool
    is_nudged: bool
    is_in_doubt: bool
    is_here: bool
    acts: tuple[str, ...]

    @property
    def grade(self) -> float:
        return picture_grade(self.margin_db)

    @property
    def grade_word(self) -> str:
        return grade_word(self.grade)


@dataclass(frozen=True)
class EndedTurn:
    """A turn that ended, with its undo."""

    turn_id: int
    callsign: str
    how: str
    at: datetime


@dataclass(frozen=True)
class DeskOfTurns:
    """The desk's view: places by number with None for a free one, the queue, and what can be undone.

    order          from the database; a state with a lower one is older
    why_not_open   what stands against opening; empty when nothing does
    unasked        who is on outside a call, unasked, "Rook is"; empty for nobody, and while nobody has a turn
    """

    order: int = field(compare=False)
    code: str
    time_zone: str
    is_open: bool
    was_ever_open: bool
    may_power_up_beside: bool
    places: tuple[tuple[int, DeskTurn | None], ...]
    queue: tuple[DeskTurn, ...]
    ended: tuple[EndedTurn, ...]
    why_not_open: str
    unasked: str


class OpenFlyingNow:
    """One moment of a day's open flying. `is_shown` while it is open or somebody still has a place."""

    def __init__(self, session: Session, day: FieldDay) -> None:
        assert day.id is not None
        self._session, self._day = session, day
        row: OpenFlying | None = stored.open_flying_of(session, day.id)
        self._row = row
        self._line = line_of(session, day)
        self.is_open = row is not None and row.is_open and day.archived_at is None
        self._live = stored.live(session, day.id) if row is not None else []
        self._queue = [turn for turn in self._live if turn.stage == WAITING]
        self._seated = [turn for turn in self._live if turn.stage != WAITING]
        self._lineup: TurnLineup | None = turn_lineup(session, day, self._live) if self._live else None
        self._unasked = pit_air.who_is_unasked(session, day) if self._live else ""
        self._by_pilot = {turn.pilot_id: turn for turn in self._live}
        on = clearances.live(session, day.id) if self._live else []
        self._clearances = {one.pilot_id: one for one in on}
        self.is_shown = self.is_open or bool(self._seated)

    def board(self) -> OpenBoard | None:
        if not self.is_shown:
            return None
        held = {turn.place: self._board_place(turn) for turn in self._seated}
        places = tuple(held.get(number) or BoardPlace(number) for number in self._places())
        return OpenBoard(self.is_open, places, tuple(self._field.callsign(turn) for turn in self._queue))

    def my_turn(self, pilot_id: int) -> MyTurn | None:
        turn = self._by_pilot.get(pilot_id)
        if turn is None:
            return None
        assert turn.id is not None
        in_doubt = self._field.is_in_doubt(turn)
        named = self._field.named(turn) if turn.mhz is not None else ""
        return MyTurn(
            turn_id=turn.id,
            seen=turn.seen,
            stage=turn.stage,
            place=turn.place,
            mhz=turn.mhz,
            power_mw=turn.power_mw,
            label=self._field.label(turn) if turn.mhz is not None else None,
            word=self._word(turn),
            known_on=is_known_on(turn),
            what_next=what_next(turn, self._word(turn), self.is_open, in_doubt, named, self._in_queue(turn)),
            waiting=len(self._queue),
            is_nudged=turn.nudged_at is not None,
            acts=self._pilots_acts(turn, in_doubt),
        )

    def desk(self) -> DeskOfTurns:
        assert self._day.id is not None
        found = margins(self._field.up(self._seated), self._field.problem) if self._seated else []
        by_place = {
            turn.place: self._desk_turn(turn, margin)
            for turn, margin in zip(self._seated, found, strict=True)
        }
        ended = stored.last_ended(self._session, self._day.id, UNDO_SHOWN)
        return DeskOfTurns(
            order=Database.order(self._session, self._day.id),
            code=self._day.code,
            time_zone=self._day.time_zone,
            is_open=self.is_open,
            was_ever_open=self._row is not None,
            may_power_up_beside=self._row is not None and self._row.may_power_up_beside,
            places=tuple((number, by_place.get(number)) for number in self._places()),
            queue=tuple(self._desk_turn(turn, None) for turn in self._queue),
            why_not_open=can_publish(self._day) or "",
            unasked=self._unasked,
            ended=tuple(self._ended(turn) for turn in ended),
        )

    @property
    def _field(self) -> TurnLineup:
        assert self._lineup is not None
        return self._lineup

    def _places(self) -> range:
        """Places of the day, and those above that are held still after the number was lowered."""
        open_places = self._day.aircraft if self.is_open else 0
        return range(1, max([open_places, *(turn.place or 0 for turn in self._seated)]) + 1)

    def facts(self, pilot_id: int) -> Facts | None:
        """What the word for this pilot hangs on at open flying; None without a turn."""
        turn = self._by_pilot.get(pilot_id)
        if turn is None:
            return None
        clearance = self._clearances.get(pilot_id)
        return replace(
            facts_of(turn, self.is_open, self._field.is_here(turn), self._field.is_in_doubt(turn)),
            everybody_land=self._line.everybody_land_at is not None,
            walkers=self._line.walkers_since is not None,
            clearance=clearance.stage if clearance else None,
            clearance_was_on=clearance is not None and clearance.on_at is not None,
        )

    def _word(self, turn: Turn) -> Word:
        facts = self.facts(turn.pilot_id)
        assert facts is not None
        return word_for(facts)

    def _board_place(self, turn: Turn) -> BoardPlace:
        assert turn.mhz is not None
        state = _(_PUBLIC_STATES[turn.stage])
        if not self.is_open and turn.stage != DOWN:
            state = _(_PUBLIC_STATES[LANDING])
        return BoardPlace(
            turn.place or 0,
            self._field.callsign(turn),
            self._field.label(turn),
            turn.mhz,
            turn.power_mw or 0.0,
            state,
        )

    def _in_queue(self, turn: Turn) -> str:
        if turn not in self._queue:
            return ""
        return _(
            "You are %(place)s of %(number)s in the queue.",
            place=ordinal(self._queue.index(turn) + 1),
            number=len(self._queue),
        )

    def _pilots_acts(self, turn: Turn, in_doubt: bool) -> tuple[str, ...]:
        if self.is_open and not in_doubt and self._field.is_here(turn):
            if turn.stage == READY and turn.confirmed_at is None:
                return ("set", "off")
            if turn.stage == POWER_UP:
                return ("clear", "off")
        return ("off",)

    def _desk_turn(self, turn: Turn, margin_db: float | None) -> DeskTurn:
        assert turn.id is not None
        in_doubt = self._field.is_in_doubt(turn)
        return DeskTurn(
            turn_id=turn.id,
            seen=turn.seen,
            stage=turn.stage,
            callsign=self._field.callsign(turn),
            label=self._field.label(turn) if turn.mhz is not None else None,
            mhz=turn.mhz,
            power_mw=turn.power_mw,
            word=self._word(turn),
            why=turn.why,
            margin_db=margin_db,
            asked_at=turn.asked_at,
            seated_at=turn.seated_at,
            is_confirmed=turn.confirmed_at is not None,
            is_nudged=turn.nudged_at is not None,
            is_in_doubt=in_doubt,
            is_here=self._field.is_here(turn),
            acts=self._desks_acts(turn, in_doubt),
        )

    def _desks_acts(self, turn: Turn, in_doubt: bool) -> tuple[str, ...]:
        """What the desk may press, the usual first."""
        if turn.stage == WAITING:
            return ("seat", "off") if self.is_open else ("off",)
        if turn.stage == READY:
            if not self.is_open:
                return ("off",)
            if turn.confirmed_at is None or in_doubt:
                return ("set", "land")
            return ("override" if self._unasked else "up", "land")
        if turn.stage == POWER_UP:
            return ("set", "off", "land") if in_doubt else ("clear", "off", "land", "down")
        if turn.stage == FLYING:
            return ("off", "land", "down", *(("set",) if in_doubt else ()))
        return ("off", "fly-on", *(("down",) if turn.stage == LANDING else ()))

    def _ended(self, turn: Turn) -> EndedTurn:
        pilot = pilots.by_id(self._session, turn.field_day_id, turn.pilot_id)
        assert pilot is not None
        assert turn.id is not None
        assert turn.ended_at is not None
        return EndedTurn(turn.id, pilot.callsign, _(turn.ended_how), turn.ended_at)
