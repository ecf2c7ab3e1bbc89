"""The flight line at one moment: the call, who is next, and what a pilot's own page shows of it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sqlmodel import Session

from server.services import call_lineup, call_slots, pit_air
from server.services.call_steps import named
from server.services.calls import seen_of
from server.services.flight_line import line_of
from server.services.flight_states import PILOT_MOVES, Line, why_not
from server.services.snapshots import Snapshot
from server.services.transmitter_words import Facts
from server.storage import calls, clearances, pilots, turns
from server.storage.tables import (
    CHECKED_IN,
    CLEARANCES_MAY_BE_ON,
    LEFT_OUT,
    OFF,
    POWER_UP,
    UNASKED,
    WAITING,
    Call,
    CallSlot,
    Clearance,
    FieldDay,
)


@dataclass(frozen=True)
class MyCall:
    """A pilot's own place in the live call.

    seen      to be sent with each press
    named     the heat as it is called out
    position  in the order of powering up, of so many
    acts      what the own phone may do now, of `call_slots.PILOTS_ACTS`
    """

    slot_id: int
    seen: str
    stage: str
    named: str
    heat: int
    position: int
    of: int
    mhz: int
    label: str | None
    power_mw: float
    acts: tuple[str, ...]

    @property
    def is_done(self) -> bool:
        """Through with the heat, so that something else has the word."""
        return self.stage in (OFF, LEFT_OUT)

    @property
    def channel_words(self) -> str:
        return f"{self.label or ''} {self.mhz} MHz".strip()


@dataclass(frozen=True)
class MyClearance:
    """A pilot's own wish to switch on outside a call.

    seen   to be sent with each press
    words  why to wait and how long, or the director's words
    """

    clearance_id: int
    seen: str
    stage: str
    why: str
    place: str
    words: str


class FlightLineNow:
    """One moment of a day's flight line; `here` has the callsigns, by id, of who is checked in."""

    def __init__(self, session: Session, day: FieldDay, snapshot: Snapshot | None) -> None:
        assert day.id is not None
        self.snapshot = snapshot
        self.seen = seen_of(session, day)
        self.line = line_of(session, day)
        self.call: Call | None = calls.live(session, day.id)
        self.slots: list[CallSlot] = calls.slots_of(session, self.call.id or 0) if self.call else []
        self._by_pilot = {slot.pilot_id: slot for slot in self.slots}
        self._clearances = {one.pilot_id: one for one in clearances.live(session, day.id)}
        present = pilots.of_day(session, day.id, [CHECKED_IN])
        self.here = {pilot.id: pilot.callsign for pilot in present if pilot.id is not None}
        self.next = None if snapshot is None else call_lineup.next_heat(session, day, snapshot, self.slots)
        self._unasked = pit_air.unasked_against(session, day)
        if day.archived_at is not None or _is_open_flying(session, day.id):
            self.next = None

    @property
    def everybody_land(self) -> str | None:
        """The reason, while EVERYBODY LAND is on."""
        return self.line.everybody_land_reason if self.line.everybody_land_at is not None else None

    @property
    def called(self) -> set[int]:
        """Pilots, by id, of the live call."""
        return set(self._by_pilot)

    def refused(self) -> Callable[[str], str]:
        """Why an event must not happen now to anybody of the live call, by event; empty where it may."""
        assert self.call is not None
        moment = Line(
            self.call.stage,
            self.line.everybody_land_at is not None,
            self.line.walkers_since is not None,
            next((slot.callsign for slot in self.slots if slot.stage == POWER_UP), ""),
            self.call.released_at is not None,
            self._unasked,
        )
        return lambda event: why_not(event, moment)

    def first_unasked(self) -> Clearance | None:
        """Who is on unasked and keeps the turn to power up from everybody; None for nobody."""
        if not self._unasked:
            return None
        return next(one for one in self._clearances.values() if one.stage == UNASKED)

    def is_next(self, pilot_id: int) -> bool:
        return self.next is not None and pilot_id in self.next[1] and pilot_id in self.here

    def facts(self, pilot_id: int, at_open_flying: Facts | None = None, is_down: bool = False) -> Facts:
        """Everything that the word for this pilot's transmitter hangs on."""
        slot, clearance = self._by_pilot.get(pilot_id), self._clearances.get(pilot_id)
        facts = at_open_flying or Facts()
        is_in_call = slot is not None and slot.stage not in (OFF, LEFT_OUT)
        if is_in_call or (facts.turn == WAITING and facts.is_called_off):
            facts = Facts()  # a place in a queue that is closed says nothing to who is called
        return replace(
            facts,
            everybody_land=self.line.everybody_land_at is not None,
            walkers=self.line.walkers_since is not None,
            call=slot.stage if slot else None,
            clearance=clearance.stage if clearance else None,
            clearance_was_on=clearance is not None and clearance.on_at is not None,
            is_down=is_down,
            is_next=self.is_next(pilot_id),
            is_called_off=facts.is_called_off or pilot_id not in self.here,
        )

    def my_call(self, pilot_id: int) -> MyCall | None:
        slot = self._by_pilot.get(pilot_id)
        if slot is None or self.call is None:
            return None
        assert slot.id is not None
        return MyCall(
            slot_id=slot.id,
            seen=slot.seen,
            stage=slot.stage,
            named=named(self.call),
            heat=slot.heat,
            position=slot.position,
            of=len(self.slots),
            mhz=slot.mhz,
            label=slot.channel,
            power_mw=slot.power_mw,
            acts=tuple(act for act in call_slots.PILOTS_ACTS if self._may(slot, act)),
        )

    def why_on_outside(self, pilot_id: int) -> str:
        """What for the pilot may be on outside a call; empty for who is not."""
        one = self._clearances.get(pilot_id)
        return one.why if one is not None and one.stage in CLEARANCES_MAY_BE_ON else ""

    def my_clearance(self, pilot_id: int) -> MyClearance | None:
        one = self._clearances.get(pilot_id)
        if one is None:
            return None
        assert one.id is not None
        return MyClearance(one.id, one.seen, one.stage, one.why, one.place, one.words)

    def _may(self, slot: CallSlot, act: str) -> bool:
        return act in PILOT_MOVES[slot.stage] and not self.refused()(act)


def _is_open_flying(session: Session, field_day_id: int) -> bool:
    """Nobody is next in a heat while pilots fly without heats."""
    row = turns.open_flying_of(session, field_day_id)
    return row is not None and row.is_open
