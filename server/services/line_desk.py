"""The flight line as the director sees it: the heat that is up, the usual next step, the next heat, the pits."""

from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.radio.grade import grade_word, picture_grade
from server.services import call_lineup, call_slots, calls, down_transmitters, flight_states
from server.services.call_lineup import Seat
from server.services.call_steps import named
from server.services.call_views import FlightLineNow
from server.services.channel_confirmation import confirmed_pilots, wrong_pilots
from server.services.day_clock import DayClock
from server.services.day_hours import clock_at, timeline_of
from server.services.flight_states import CALL_MOVES, PILOT_MOVES
from server.services.line_steps import NextStep, next_step
from server.services.pit_air import against_call
from server.services.snapshots import Snapshot
from server.services.timeline_chart import TimelinePicture, timeline_picture
from server.services.transmitter_words import Word, word_for
from server.services.turn_views import OpenFlyingNow
from server.storage import calls as stored
from server.storage import clearances, pilots, trouble_reports, turns
from server.storage.session import Database
from server.storage.tables import CHECKED_IN, WAITING, CallSlot, Clearance, FieldDay
from server.wording import gettext as _

_DIRECTORS_ACTS = (
    flight_states.PICTURE_IS_CLEAR,
    flight_states.YOUR_TURN,
    flight_states.HAS_LANDED,
    flight_states.IS_OFF,
    flight_states.FOUND,
    flight_states.BACK_IN_LINE,
    flight_states.NOT_CLEAR,
    flight_states.FLIES_ON,
    flight_states.STILL_UP,
    flight_states.NOT_OFF,
    flight_states.STAND_DOWN,
    flight_states.LAND,
    flight_states.LEAVE_OUT,
    flight_states.IS_DOWN,
    flight_states.ON_UNASKED,
)
"""In the order in which a row offers them, the usual first."""


_BESIDE_THE_USUAL = (flight_states.STOP, flight_states.FLY_ON)
"""Steps of the whole heat that have a button of their own."""


@dataclass(frozen=True)
class LineRow:
    """One pilot of the heat that is up.

    word  what the pilot's own page says to the transmitter
    acts  of `call_slots.ACTS`, what may be pressed now, the usual first
    """

    slot_id: int
    seen: str
    pilot_id: int
    callsign: str
    channel: str | None
    mhz: int
    power_mw: float
    heat: int
    position: int
    stage: str
    word: Word
    margin_db: float | None
    acts: tuple[str, ...]

    @property
    def grade(self) -> float:
        return picture_grade(self.margin_db)

    @property
    def grade_word(self) -> str:
        return grade_word(self.grade)


@dataclass(frozen=True)
class CallNow:
    """The heat that is up.

    acts       of `call_steps.ACTS`, beside the usual next step
    read_out   the line to read out
    held       whose turn comes next and is held by somebody on unasked; None for nobody
    """

    call_id: int
    seen: str
    named: str
    stage: str
    reason: str
    called_at: datetime
    released_at: datetime | None
    counts: bool
    acts: tuple[str, ...]
    read_out: str
    rows: tuple[LineRow, ...]
    held: LineRow | None


@dataclass(frozen=True)
class NextHeat:
    """The heat to be called next, in the order of powering up.

    against    what stands against calling it, as sentences
    unchecked  callsigns whose channel was not confirmed since its last change
    is_wrong   callsigns whose transmitter was last found on another channel
    rest_of    it is the rest of a heat of which a part is flown or up
    """

    number: int
    read_out: str
    seats: tuple[Seat, ...]
    against: tuple[str, ...]
    unchecked: tuple[str, ...]
    is_wrong: tuple[str, ...]
    rest_of: bool


@dataclass(frozen=True)
class DeskClearance:
    """A wish to switch on outside a call."""

    clearance_id: int
    seen: str
    callsign: str
    why: str
    place: str
    mhz: int | None
    power_mw: float
    stage: str
    words: str
    asked_at: datetime


@dataclass(frozen=True)
class Lost:
    down_id: int
    callsign: str
    mhz: int
    since: datetime


@dataclass(frozen=True)
class LineDesk:
    """The director's view of the flight line.

    order    from the database; a state with a lower one is older
    seen     to be sent with a call
    undo     what it would take back, in words, and what its form repeats; None where nothing
    heats    every heat of the plan and how often it was flown, for calling any of them
    flights  callsign and how many flights count, of everybody who is here or flew
    troubles callsigns of who has a report of trouble open
    clock    at the moment it was read; None before a plan
    timeline at the same moment; None before a plan and before anything happened
    """

    order: int = field(compare=False)
    code: str
    time_zone: str
    is_archived: bool
    seen: str
    everybody_land: str | None
    everybody_land_at: datetime | None
    walkers_since: datetime | None
    starts_at: str
    ends_by: str
    may_clear_beside: bool
    plan_number: int | None
    heats: tuple[int, ...]
    flown_heats: int
    call: CallNow | None
    step: NextStep | None
    undo: tuple[str, str] | None
    next: NextHeat | None
    clearances: tuple[DeskClearance, ...]
    lost: tuple[Lost, ...]
    flights: tuple[tuple[str, int], ...]
    callsigns: tuple[tuple[int, str], ...]
    is_open_flying: bool
    troubles: tuple[str, ...]
    clock: DayClock | None = field(compare=False)
    timeline: TimelinePicture | None = field(compare=False)


def line_desk(session: Session, day: FieldDay, at: datetime | None = None) -> LineDesk:
    """One moment of the flight line.

    at   the moment for the day's clock; None: that of the latest row of the logbook
    """
    assert day.id is not None
    snapshot = call_lineup.published_plan(session, day)
    now = FlightLineNow(session, day, snapshot)
    here = {pilot.id or 0: pilot.callsign for pilot in pilots.of_day(session, day.id, [CHECKED_IN])}
    flown = stored.flights(session, day.id)
    open_row = turns.open_flying_of(session, day.id)
    lost = down_transmitters.still_on(session, day)
    call = _call_now(now, OpenFlyingNow(session, day), {one.pilot_id for one in lost}) if now.call else None
    upcoming = _next_heat(session, day, snapshot, now)
    return LineDesk(
        order=Database.order(session, day.id),
        code=day.code,
        time_zone=day.time_zone,
        is_archived=day.archived_at is not None,
        seen=calls.seen_of(session, day),
        everybody_land=now.everybody_land,
        everybody_land_at=now.line.everybody_land_at,
        walkers_since=now.line.walkers_since,
        starts_at=now.line.starts_at,
        ends_by=now.line.ends_by,
        may_clear_beside=now.line.may_clear_beside,
        plan_number=snapshot["number"] if snapshot else None,
        heats=tuple(heat["heat"] for heat in snapshot["heats"]) if snapshot else (),
        flown_heats=day.flown_heats,
        call=call,
        step=next_step(now, upcoming.number if upcoming else None, bool(upcoming and upcoming.against)),
        undo=call_slots.undo_seen(session, day),
        next=upcoming,
        clearances=tuple(
            _clearance(one, here.get(one.pilot_id, _("A pilot who left")))
            for one in clearances.live(session, day.id)
        ),
        troubles=tuple(one.callsign for one in trouble_reports.still_open(session, day.id)),
        lost=tuple(Lost(one.id or 0, one.callsign, one.mhz, one.since) for one in lost),
        flights=tuple(
            (pilot.callsign, flown[pilot.id or 0])
            for pilot in pilots.of_day(session, day.id)
            if pilot.id in here or flown[pilot.id or 0]
        ),
        callsigns=tuple(sorted(here.items(), key=lambda one: one[1].casefold())),
        is_open_flying=open_row is not None and open_row.is_open,
        clock=clock_at(session, day, snapshot, now, at) if snapshot else None,
        timeline=timeline_picture(timeline_of(session, day, snapshot, now, at)),
    )


def _call_now(now: FlightLineNow, flying: OpenFlyingNow, lost: set[int]) -> CallNow:
    call = now.call
    assert call is not None
    assert call.id is not None
    up = [slot for slot in now.slots if slot.stage not in (flight_states.LEFT_OUT,)]
    words = {
        slot.pilot_id: word_for(now.facts(slot.pilot_id, flying.facts(slot.pilot_id), slot.pilot_id in lost))
        for slot in now.slots
    }
    rows = tuple(_row(slot, now, words[slot.pilot_id]) for slot in now.slots)
    waiting = (
        [] if now.refused()(flight_states.TURN_OVERRIDDEN) else [one for one in rows if one.stage == WAITING]
    )
    return CallNow(
        call_id=call.id,
        seen=call.seen,
        named=named(call),
        stage=call.stage,
        reason=call.reason,
        called_at=call.called_at,
        released_at=call.released_at,
        counts=call.counts,
        acts=tuple(event for event in _BESIDE_THE_USUAL if event in CALL_MOVES[call.stage]),
        read_out=_read_out([(slot.callsign, f"{slot.channel or ''} {slot.mhz}".strip()) for slot in up]),
        rows=rows,
        held=waiting[0] if waiting else None,
    )


def _row(slot: CallSlot, now: FlightLineNow, word: Word) -> LineRow:
    assert slot.id is not None
    moves = PILOT_MOVES[slot.stage]
    refused = now.refused()
    return LineRow(
        slot_id=slot.id,
        seen=slot.seen,
        pilot_id=slot.pilot_id,
        callsign=slot.callsign,
        channel=slot.channel,
        mhz=slot.mhz,
        power_mw=slot.power_mw,
        heat=slot.heat,
        position=slot.position,
        stage=slot.stage,
        word=word,
        margin_db=slot.margin_db,
        acts=tuple(event for event in _DIRECTORS_ACTS if event in moves and not refused(event)),
    )


def _next_heat(
    session: Session, day: FieldDay, snapshot: Snapshot | None, now: FlightLineNow
) -> NextHeat | None:
    if snapshot is None or now.next is None:
        return None
    number, crew = now.next
    lineup = call_lineup.lineup_of(session, day, snapshot, [number], crew)
    confirmed, wrong = confirmed_pilots(session, day), wrong_pilots(session, day)
    whole = {
        slot["pilot_id"] for heat in snapshot["heats"] if heat["heat"] == number for slot in heat["slots"]
    }
    return NextHeat(
        number=number,
        read_out=_read_out([(seat.callsign, seat.named) for seat in lineup.flying]),
        seats=lineup.seats,
        against=(*lineup.blocked, *against_call(session, day, lineup)),
        unchecked=tuple(seat.callsign for seat in lineup.flying if seat.pilot_id not in confirmed),
        is_wrong=tuple(seat.callsign for seat in lineup.flying if seat.pilot_id in wrong),
        rest_of=crew != whole,
    )


def _read_out(pilots_and_channels: list[tuple[str, str]]) -> str:
    if not pilots_and_channels:
        return "nobody"
    listed = ", ".join(f"{callsign} {channel}" for callsign, channel in pilots_and_channels)
    if len(pilots_and_channels) == 1:
        return _("%(pilots)s; power up.", pilots=listed)
    return _(
        "%(pilots)s; power up one at a time, %(callsign)s first.",
        pilots=listed,
        callsign=pilots_and_channels[0][0],
    )


def _clearance(one: Clearance, callsign: str) -> DeskClearance:
    assert one.id is not None
    return DeskClearance(
        one.id,
        one.seen,
        callsign,
        one.why,
        one.place,
        one.mhz,
        one.power_mw,
        one.stage,
        one.words,
        one.asked_at,
    )
