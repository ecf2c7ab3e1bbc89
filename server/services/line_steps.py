"""The usual next step at the flight line: what the one key does, and it always says what."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.services import flight_states
from server.services.call_steps import ALL_LANDED, named
from server.services.call_views import FlightLineNow
from server.storage.tables import (
    FLYING,
    LANDED,
    LANDING,
    PICTURE_CLEAR,
    POWER_UP,
    POWERING_UP,
    WAITING,
    CallSlot,
)


@dataclass(frozen=True)
class NextStep:
    """A press: the end of its address below the flight line, what it sends, and what the button says."""

    action: str
    words: str
    fields: Mapping[str, str] = field(default_factory=dict)


def next_step(now: FlightLineNow, next_heat: int | None, is_blocked: bool) -> NextStep | None:
    """What usually comes next; None where nothing does, or words are needed first."""
    if now.call is None:
        if now.everybody_land is not None:
            return NextStep("lift", "Lift EVERYBODY LAND")
        if next_heat is None or is_blocked:
            return None
        return NextStep("call", f"Call heat {next_heat}", {"heats": str(next_heat), "seen": now.seen})
    if now.call.stage == POWERING_UP:
        return _while_powering_up(now)
    if now.call.stage == FLYING:
        return _step(now, flight_states.LAND, f"Land {named(now.call).lower()}")
    return _while_landing(now)


def _while_powering_up(now: FlightLineNow) -> NextStep:
    assert now.call is not None
    heat = named(now.call).lower()
    turn, waiting = _at(now, POWER_UP), _at(now, WAITING)
    clear = _at(now, PICTURE_CLEAR)
    if turn:
        words = f"{turn[0].callsign}: picture is clear"
        return NextStep(f"slots/{turn[0].id}/picture-is-clear", words, {"seen": turn[0].seen})
    unasked = now.first_unasked()
    if unasked is not None and waiting:
        words = f"{now.here.get(unasked.pilot_id, 'Who is on unasked')} is off now"
        return NextStep(f"clearances/{unasked.id}/off", words, {"seen": unasked.seen})
    if now.line.walkers_since is not None and (waiting or clear):
        return NextStep("walkers", "The field is clear of walkers", {"state": "gone"})
    if clear and not waiting:
        return _step(now, flight_states.RELEASE, f"Release {heat}: {_listed(clear)}")
    return _step(now, flight_states.STOP, f"Stop {heat}: nobody flies")


def _while_landing(now: FlightLineNow) -> NextStep:
    assert now.call is not None
    landing, landed = _at(now, LANDING), _at(now, LANDED)
    if landing:
        return _step(now, ALL_LANDED, f"Landed: {_listed(landing)}")
    counts = "counts as flown" if now.call.counts else "does not count"
    heat = named(now.call)
    over = f"{heat} is over, {counts}"
    words = f"{_listed(landed, 'All')} off. {over}" if landed else over
    return _step(now, flight_states.END, words)


def _step(now: FlightLineNow, event: str, words: str) -> NextStep:
    assert now.call is not None
    return NextStep(f"step/{event.replace(' ', '-')}", words, {"seen": now.call.seen})


def _at(now: FlightLineNow, stage: str) -> list[CallSlot]:
    return [slot for slot in now.slots if slot.stage == stage]


def _listed(slots: list[CallSlot], everybody: str = "all") -> str:
    """Callsigns, three at most."""
    names = [slot.callsign for slot in slots]
    return ", ".join(names) if len(names) <= 3 else f"{everybody} {len(names)}"
