"""The usual next step at the flight line: what the one key does, and it always says what."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.services import flight_states
from server.services.call_steps import ALL_LANDED, named
from server.services.call_views import FlightLineNow
from server.services.flight_line import land_mark
from server.storage.tables import (
    FLYING,
    LANDED,
    LANDING,
    PICTURE_CLEAR,
    POWER_UP,
    POWERING_UP,
    WAITING,
    Call,
    CallSlot,
)
from server.wording import gettext as _
from server.wording import listed, ngettext

MOST_NAMED = 3
"""Callsigns on the button."""


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
            return NextStep("lift", _("Lift EVERYBODY LAND"), {"was_since": land_mark(now.line)})
        if next_heat is None or is_blocked:
            return None
        return NextStep(
            "call",
            _("Call heat %(number)s", number=next_heat),
            {"heats": str(next_heat), "seen": now.seen},
        )
    if now.call.stage == POWERING_UP:
        return _while_powering_up(now)
    if now.call.stage == FLYING:
        return _step(now, flight_states.LAND, _("Land %(heat)s", heat=_in_a_sentence(now.call)))
    return _while_landing(now)


def _while_powering_up(now: FlightLineNow) -> NextStep:
    assert now.call is not None
    heat = _in_a_sentence(now.call)
    turn, waiting = _at(now, POWER_UP), _at(now, WAITING)
    clear = _at(now, PICTURE_CLEAR)
    if turn:
        words = _("%(callsign)s: picture is clear", callsign=turn[0].callsign)
        return NextStep(f"slots/{turn[0].id}/picture-is-clear", words, {"seen": turn[0].seen})
    stood_down = _at(now, LANDED)
    if stood_down:  # nobody else powers up or is released beside a transmitter that may be on
        words = _("%(callsign)s is off now", callsign=stood_down[0].callsign)
        return NextStep(f"slots/{stood_down[0].id}/off", words, {"seen": stood_down[0].seen})
    unasked = now.first_unasked()
    if unasked is not None and waiting:
        words = _("%(callsign)s is off now", callsign=now.here.get(unasked.pilot_id, _("Who is on unasked")))
        return NextStep(f"clearances/{unasked.id}/off", words, {"seen": unasked.seen})
    if now.line.walkers_since is not None and (waiting or clear):
        return NextStep("walkers", _("The field is clear of walkers"), {"state": "gone"})
    if clear and not waiting:
        words = _("Release %(heat)s: %(pilots)s", heat=heat, pilots=_listed(clear))
        return _step(now, flight_states.RELEASE, words)
    return _step(now, flight_states.STOP, _("Stop %(heat)s: nobody flies", heat=heat))


def _while_landing(now: FlightLineNow) -> NextStep:
    assert now.call is not None
    landing, landed = _at(now, LANDING), _at(now, LANDED)
    if landing:
        return _step(now, ALL_LANDED, _("Landed: %(pilots)s", pilots=_listed(landing)))
    heat = named(now.call)
    counts = _("%(heat)s is over, counts as flown", heat=heat)
    over = counts if now.call.counts else _("%(heat)s is over, does not count", heat=heat)
    return _step(now, flight_states.END, f"{_all_off(landed)} {over}" if landed else over)


def _all_off(landed: list[CallSlot]) -> str:
    if len(landed) <= MOST_NAMED:
        return _("%(pilots)s off.", pilots=_listed(landed))
    return _("All %(number)s off.", number=len(landed))


def _in_a_sentence(call: Call) -> str:
    """The heat behind a verb: "heat 4"."""
    numbers = listed(str(number) for number in call.heats)
    return ngettext("heat %(numbers)s", "heats %(numbers)s", len(call.heats), numbers=numbers)


def _step(now: FlightLineNow, event: str, words: str) -> NextStep:
    assert now.call is not None
    return NextStep(f"step/{event.replace(' ', '-')}", words, {"seen": now.call.seen})


def _at(now: FlightLineNow, stage: str) -> list[CallSlot]:
    return [slot for slot in now.slots if slot.stage == stage]


def _listed(slots: list[CallSlot]) -> str:
    """Callsigns, three at most."""
    if len(slots) <= MOST_NAMED:
        return ", ".join(slot.callsign for slot in slots)
    return _("all %(number)s", number=len(slots))
