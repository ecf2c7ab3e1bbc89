"""What each step does to a call and to everybody in it: release, land, stop, fly on, all landed, end, reopen."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from sqlmodel import Session

from server.services import call_lineup, flight_states, trouble_ends
from server.services.channel_confirmation import void_where_moved
from server.services.errors import RefusedError
from server.services.flight_line import log, remember, stand_everybody_down
from server.services.flight_states import call_after, pilot_after
from server.storage.tables import (
    DOWN,
    LANDED,
    LEFT_OUT,
    OFF,
    PICTURE_CLEAR,
    POWER_UP,
    WAITING,
    Call,
    CallSlot,
    FieldDay,
)
from server.wording import gettext as _
from server.wording import listed, ngettext

ALL_LANDED = "all landed"


def named(one: Call) -> str:
    """ "Heat 4", "Heats 4 and 5"."""
    numbers = listed(str(number) for number in one.heats)
    return ngettext("Heat %(numbers)s", "Heats %(numbers)s", len(one.heats), numbers=numbers)


def _release(
    session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime
) -> None:
    not_yet = [slot.callsign for slot in slots if slot.stage in (WAITING, POWER_UP)]
    if not_yet:
        raise RefusedError(
            _(
                "%(not_yet)s: no clear picture yet. Confirm it, let them stand down, or leave them out.",
                not_yet=", ".join(not_yet),
            )
        )
    ready = [slot for slot in slots if slot.stage == PICTURE_CLEAR]
    if not ready:
        raise RefusedError(_("Nobody has a clear picture, so nobody can be released. Stop the heat."))
    one.stage = call_after(one.stage, flight_states.RELEASE, named(one))
    one.released_at = at
    _move_all(ready, flight_states.RELEASE, at)
    for slot in ready:
        slot.released_at = at
    text = _("%(heat)s is released: %(callsigns)s fly.", heat=named(one), callsigns=_callsigns(ready))
    _log(session, day, one, ready, "released", text, who, at)
    remember(session, day, None)


def _land(session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime) -> None:
    flying = [slot for slot in slots if slot.stage == flight_states.FLYING]
    one.stage = call_after(one.stage, flight_states.LAND, named(one))
    _move_all(flying, flight_states.LAND, at)
    text = _("%(heat)s is called to land.", heat=named(one))
    _log(session, day, one, flying, "called to land", text, who, at)
    remember(session, day, _undo(_("%(heat)s flies on", heat=named(one)), call=flight_states.FLY_ON))


def _stop(session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime) -> None:
    call_after(one.stage, flight_states.STOP, named(one))
    was_up = one.released_at is not None
    stand_everybody_down(one, slots, at)
    lands, stays = (
        _("%(heat)s is stopped: everybody lands.", heat=named(one)),
        _("%(heat)s is stopped: nobody flies.", heat=named(one)),
    )
    text = f"{lands if was_up else stays} {one.reason}".strip()
    _log(session, day, one, slots, "heat stopped", text, who, at)
    flies_on = _undo(_("%(heat)s flies on", heat=named(one)), call=flight_states.FLY_ON)
    remember(session, day, flies_on if was_up else None)


def _fly_on(
    session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime
) -> None:
    one.stage = call_after(one.stage, flight_states.FLY_ON, named(one))
    up = [slot for slot in slots if slot.stage == flight_states.LANDING and slot.released_at is not None]
    if not up:
        raise RefusedError(_("Everybody has landed: end the heat and call it again."))
    _move_all(up, flight_states.FLIES_ON, at)
    one.counts = True
    text = _("%(heat)s flies on after all: %(callsigns)s.", heat=named(one), callsigns=_callsigns(up))
    _log(session, day, one, up, "flies on", text, who, at)
    remember(session, day, None)


def _all_landed(
    session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime
) -> None:
    up = [slot for slot in slots if slot.stage == flight_states.LANDING]
    if not up:
        raise RefusedError(_("Nobody is on the way down."))
    _move_all(up, flight_states.HAS_LANDED, at)
    text = _("%(callsigns)s: landed. Disarm, then power off.", callsigns=_callsigns(up))
    _log(session, day, one, up, "landed", text, who, at)
    ids = [slot.id for slot in up]
    remember(session, day, _undo(_("They are in the air still"), slots=ids, event=flight_states.STILL_UP))


def _end(session: Session, day: FieldDay, one: Call, slots: list[CallSlot], who: str, at: datetime) -> None:
    """Whoever has landed is off with it: the button says so."""
    in_the_air = [slot.callsign for slot in slots if slot.stage not in (LANDED, OFF, DOWN, LEFT_OUT)]
    if in_the_air:
        raise RefusedError(
            _(
                "%(in_the_air)s: not landed yet. A heat ends when everybody is off.",
                in_the_air=", ".join(in_the_air),
            )
        )
    one.stage = call_after(one.stage, flight_states.END, named(one))
    landed = [slot for slot in slots if slot.stage == LANDED]
    _move_all(landed, flight_states.IS_OFF, at)
    one.ended_at, one.flown_before = at, day.flown_heats
    if one.counts:
        session.flush()
        _advance(session, day, one)
        void_where_moved(session, day)
    flown = _("It counts as flown.") if one.counts else _("It does not count as flown.")
    text = f"{_('%(heat)s is over, everybody is off.', heat=named(one))} {flown}"
    _log(session, day, one, landed, "heat over", text, who, at)
    trouble_ends.close_of_call(session, one.field_day_id, one.id or 0, who, at)
    remember(session, day, _undo(_("%(heat)s is not over", heat=named(one)), call=flight_states.REOPEN))


def _advance(session: Session, day: FieldDay, one: Call) -> None:
    """Heats whose pilots are all through are flown, as far as there is no gap before them."""
    snapshot = call_lineup.published_plan(session, day)
    assert snapshot is not None
    for heat in snapshot["heats"][day.flown_heats :]:
        rest = {slot["pilot_id"] for slot in heat["slots"]} - call_lineup.done_with(
            session, day, heat["heat"]
        )
        if call_lineup.here(session, day, rest):
            return
        if heat["heat"] > max(one.heats) and not call_lineup.done_with(session, day, heat["heat"]):
            return
        day.flown_heats = heat["heat"]


def _reopen(
    session: Session, day: FieldDay, one: Call, _slots: list[CallSlot], who: str, at: datetime
) -> None:
    one.stage = call_after(one.stage, flight_states.REOPEN, named(one))
    one.ended_at = None
    if one.flown_before is not None:
        day.flown_heats = one.flown_before
    text = _("%(heat)s is not over after all.", heat=named(one))
    _log(session, day, one, [], "end undone", text, who, at)
    trouble_ends.reopen_of_call(session, one.field_day_id, one.id or 0, who, at)
    remember(session, day, None)


Act = Callable[[Session, FieldDay, Call, list[CallSlot], str, datetime], None]

ACTS: Mapping[str, Act] = {
    flight_states.RELEASE: _release,
    flight_states.LAND: _land,
    flight_states.STOP: _stop,
    flight_states.FLY_ON: _fly_on,
    ALL_LANDED: _all_landed,
    flight_states.END: _end,
    flight_states.REOPEN: _reopen,
}
"""What can be done to the latest call, by the word that names it in addresses."""


def _move_all(slots: Sequence[CallSlot], event: str, at: datetime) -> None:
    for slot in slots:
        slot.stage, slot.changed_at = pilot_after(slot.stage, event, slot.callsign), at


def _callsigns(slots: Sequence[CallSlot]) -> str:
    return ", ".join(slot.callsign for slot in slots)


def _undo(words: str, **what: object) -> dict[str, object]:
    return {"words": words, **what}


def _log(
    session: Session,
    day: FieldDay,
    one: Call,
    slots: Sequence[CallSlot],
    action: str,
    text: str,
    who: str,
    at: datetime,
) -> None:
    stages = {slot.callsign: slot.stage for slot in slots}
    facts = {"call_id": one.id, "stage": one.stage, "counts": one.counts, "slots": stages}
    log(session, day, who, action, text, facts, at)
