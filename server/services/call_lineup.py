"""Who a call would take: the pilots of a heat that are not through with it, in the order of powering up, and what
stands against calling them.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session

from server.radio.grade import is_flyable, picture_grade
from server.services import bench_checks, down_transmitters, standings
from server.services.drafts import DraftContent, DraftHeat, DraftSlot
from server.services.heat_facts import heat_facts
from server.services.plan_basis import PlanBasis, basis_of
from server.services.snapshots import Snapshot
from server.storage import calls, pilots
from server.storage.tables import CHECKED_IN, CallSlot, FieldDay
from server.wording import decimal, marked
from server.wording import gettext as _

WORSE_DB = 0.05
"""A margin that is lower than the published one by less is the same."""


@dataclass(frozen=True)
class Seat:
    """One pilot of a heat to be called.

    absent     why the pilot does not fly in it, as words behind the callsign; empty for who does
    blocked    what stands against calling the pilot, as a sentence; empty where nothing does
    margin_db  beside those of the call who fly, and what is down; None for a pilot alone and for who does not fly
    """

    pilot_id: int
    callsign: str
    heat: int
    mhz: int
    channel: str | None
    power_mw: float
    absent: str = ""
    blocked: str = ""
    margin_db: float | None = None

    @property
    def named(self) -> str:
        """The channel as it is read out: "R1 5658"."""
        return f"{self.channel or ''} {self.mhz}".strip()

    @property
    def grade(self) -> float:
        return picture_grade(self.margin_db)


@dataclass(frozen=True)
class Lineup:
    """A call as it would be now; `seats` in the order of powering up, those who do not fly last."""

    plan_number: int
    heats: tuple[int, ...]
    seats: tuple[Seat, ...]

    @property
    def flying(self) -> tuple[Seat, ...]:
        return tuple(seat for seat in self.seats if not seat.absent)

    @property
    def blocked(self) -> tuple[str, ...]:
        return tuple(seat.blocked for seat in self.seats if seat.blocked)


def done_with(session: Session, day: FieldDay, heat: int) -> set[int]:
    """Pilots, by id, who are through with a heat, or are in it now: they have a place in a call that counts."""
    assert day.id is not None
    line = calls.line_of(session, day.id)
    first = line.counted_from_call if line else 0
    return {
        slot.pilot_id
        for call, slot in calls.slots_that_count(session, day.id)
        if slot.heat == heat and (call.id or 0) > first
    }


def next_heat(
    session: Session, day: FieldDay, snapshot: Snapshot, in_call: Sequence[CallSlot] = ()
) -> tuple[int, set[int]] | None:
    """The number of the heat that is called next, and its pilots by id; None after the last.

    in_call  everybody of the live call: their heat is not the next one for them
    """
    live = {(slot.heat, slot.pilot_id) for slot in in_call}
    for heat in snapshot["heats"][day.flown_heats :]:
        number, crew = heat["heat"], {slot["pilot_id"] for slot in heat["slots"]}
        rest = crew - done_with(session, day, number)
        # Nobody left of a heat that is not flown and not up now: the director has it flown again.
        rest = rest or (set() if any((number, pilot_id) in live for pilot_id in crew) else crew)
        rest -= {pilot_id for one, pilot_id in live if one == number}
        if rest:
            return number, rest
    return None


def lineup_of(
    session: Session,
    day: FieldDay,
    snapshot: Snapshot,
    heats: Sequence[int],
    only: Collection[int] | None = None,
) -> Lineup:
    """A call of these heats of the published plan, as it would be now.

    only  pilots by id to whom it is limited; None: everybody of the heats who is not through with them
    """
    basis = basis_of(session, day, DraftContent())
    wanted = [heat for heat in snapshot["heats"] if heat["heat"] in heats]
    seats = []
    for heat in wanted:
        crew = {slot["pilot_id"] for slot in heat["slots"]}
        takes = crew if only is None else crew & set(only)
        if only is None and heat["heat"] > day.flown_heats:
            takes = crew - done_with(session, day, heat["heat"]) or crew
        seats += [_seat(heat["heat"], slot) for slot in heat["slots"] if slot["pilot_id"] in takes]
    published = {
        (heat["heat"], slot["pilot_id"]): slot["margin_db"] for heat in wanted for slot in heat["slots"]
    }
    seats = _with_absent(session, day, seats)
    seats = _with_margins(seats, basis, published if len(wanted) == 1 else {})
    seats = [_held_by_bench_check(session, day, seat) for seat in seats]
    order = sorted(seats, key=lambda seat: (bool(seat.absent), _or_infinite(seat.margin_db)))
    return Lineup(snapshot["number"], tuple(heat["heat"] for heat in wanted), tuple(order))


def published_plan(session: Session, day: FieldDay) -> Snapshot | None:
    return standings.latest_snapshot(session, day)


def _seat(heat: int, slot: Mapping[str, Any]) -> Seat:
    return Seat(slot["pilot_id"], slot["callsign"], heat, slot["mhz"], slot["channel"], slot["power_mw"])


def _with_absent(session: Session, day: FieldDay, seats: Sequence[Seat]) -> list[Seat]:
    assert day.id is not None
    states = {pilot.id: pilot.state for pilot in pilots.of_day(session, day.id)}
    grounded = down_transmitters.grounded(session, day)
    found = []
    for seat in seats:
        state = states.get(seat.pilot_id, marked("off the roster"))
        absent = "" if state == CHECKED_IN else _("is %(state)s", state=_(state))
        if not absent and seat.pilot_id in grounded:
            absent = _("is down, still on")
        found.append(replace(seat, absent=absent))
    return found


def _with_margins(
    seats: Sequence[Seat], basis: PlanBasis, published: Mapping[tuple[int, int], float | None]
) -> list[Seat]:
    """With the margins of those who fly together, and who is blocked by what changed since the plan."""
    known = [seat for seat in seats if not seat.absent and seat.pilot_id in basis.pilots]
    together = DraftHeat(1, tuple(DraftSlot(seat.pilot_id, seat.mhz, seat.power_mw) for seat in known))
    computed = heat_facts(seats[0].heat if seats else 0, together, basis)["slots"]
    facts = dict(zip(known, computed, strict=True))
    found = []
    for seat in seats:
        if seat.absent:
            found.append(seat)
            continue
        if seat not in facts or seat.mhz not in basis.problem.choices_mhz(basis.pilots[seat.pilot_id]):
            words = _(
                "%(callsign)s's gear of today, or what is in use today, has no %(named)s any more.",
                callsign=seat.callsign,
                named=seat.named,
            )
            found.append(replace(seat, blocked=words))
            continue
        margin_db = facts[seat]["margin_db"]
        was = published.get((seat.heat, seat.pilot_id))
        is_worse = was is None or margin_db is None or margin_db < was - WORSE_DB
        blocked = ""
        if not is_flyable(margin_db) and is_worse:
            blocked = _(
                "%(callsign)s on %(named)s would have a picture of %(grade)s, do not fly: %(cause)s",
                callsign=seat.callsign,
                named=seat.named,
                grade=decimal(picture_grade(margin_db), 1),
                cause=facts[seat]["cause_words"],
            )
        found.append(replace(seat, margin_db=margin_db, blocked=blocked))
    return found


def _held_by_bench_check(session: Session, day: FieldDay, seat: Seat) -> Seat:
    """Blocked where the day needs the bench check and the aircraft has not passed it."""
    if seat.absent or seat.blocked or not bench_checks.is_needed(day):
        return seat
    pilot = pilots.by_id(session, day.id or 0, seat.pilot_id)
    missing = bench_checks.missing_checks(session, day, pilot) if pilot else ()
    if not missing:
        return seat
    words = _(
        "%(callsign)s's bench check is short of %(missing)s: the day needs it before flying.",
        callsign=seat.callsign,
        missing=", ".join(missing),
    )
    return replace(seat, blocked=words)


def _or_infinite(margin_db: float | None) -> float:
    return float("inf") if margin_db is None else margin_db


def here(session: Session, day: FieldDay, pilot_ids: Collection[int]) -> set[int]:
    """Those of the pilots who are checked in and have an aircraft that is not lost."""
    assert day.id is not None
    present = {pilot.id for pilot in pilots.of_day(session, day.id, [CHECKED_IN])}
    return (set(pilot_ids) & present) - down_transmitters.grounded(session, day)
