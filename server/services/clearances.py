"""Leave to switch a transmitter on outside a call: in the pits, or by the pilot line. The default is to wait.

Nobody powers up while a heat is called or somebody is up at open flying; where the day allows it, whoever spoils
no picture by computation may all the same. Retuning asks too, and so does the bench check. The director can
override in words, which go to the logbook.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.services import lineup, pit_air
from server.services.channel_confirmation import channel_now, is_confirmed
from server.services.errors import InputError, NotFoundError, OvertakenError, RefusedError
from server.services.flight_line import check_open, line_of, log, remember, why_overridden
from server.services.flight_states import ALARM_FIRST
from server.services.joins import PILOT
from server.services.turn_lineup import pit_power_mw
from server.services.turn_words import BY_ITSELF
from server.storage import clearances as stored
from server.storage import pilots, turns
from server.storage.tables import (
    CALLED_OFF,
    CHECKED_IN,
    CLEARANCE_PLACES,
    CLEARANCE_REASONS,
    CLEARED,
    OFF,
    ON,
    PITS,
    RETUNE,
    SET_UP,
    UNASKED,
    WAITING,
    Clearance,
    FieldDay,
    Pilot,
)
from server.wording import gettext as _
from server.wording import marked

CLEAR = "clear"
SWITCHED_ON = "on"
SWITCHED_OFF = "off"
CALL_OFF = "call off"
FOUND_ON = "on unasked"
NOT_ON = "not on"
STILL_WAITS = "still waits"
NOT_OFF = "not off"

CLEARANCE_MOVES: Mapping[str, Mapping[str, str]] = {
    WAITING: {CLEAR: CLEARED, FOUND_ON: UNASKED, SWITCHED_OFF: OFF},
    CLEARED: {SWITCHED_ON: ON, SWITCHED_OFF: OFF, CALL_OFF: CALLED_OFF},
    ON: {SWITCHED_OFF: OFF, CALL_OFF: CALLED_OFF},
    CALLED_OFF: {SWITCHED_OFF: OFF},
    UNASKED: {SWITCHED_OFF: OFF, NOT_ON: OFF, STILL_WAITS: WAITING},
    OFF: {NOT_OFF: UNASKED},
}
"""By stage, which event leads a clearance where. Who may be on goes back to waiting only by the undo of a slip.

EVERYBODY LAND calls off whoever was let on, so lifting it switches nobody on again; who is on unasked powers off
anyway.
"""

_IS: Mapping[str, str] = {
    WAITING: marked("waits for clearance"),
    CLEARED: marked("is cleared and may be on"),
    ON: marked("is on"),
    CALLED_OFF: marked("is to power off"),
    UNASKED: marked("is on, unasked"),
    OFF: marked("is off"),
}
_ONLY: Mapping[str, str] = {
    CLEAR: marked("only who waits can be cleared"),
    SWITCHED_ON: marked("only who is cleared can be on"),
    SWITCHED_OFF: marked("there is nothing to switch off"),
    CALL_OFF: marked("only who may be on is called off"),
    FOUND_ON: marked("only who may not be on can be on unasked"),
    NOT_ON: marked("only who was found to be on unasked was not on after all"),
    STILL_WAITS: marked("only who was found to be on unasked can wait still"),
    NOT_OFF: marked("only a transmitter that was on unasked and is noted as off can be on still"),
}


def after(stage: str, event: str, callsign: str) -> str:
    """The stage that follows. Raises RefusedError for what cannot happen at this stage."""
    found = CLEARANCE_MOVES[stage].get(event)
    if found is None:
        is_now, rule = _(_IS[stage]), _(_ONLY[event])
        raise RefusedError(_("%(who)s %(is_now)s: %(rule)s.", who=callsign, is_now=is_now, rule=rule))
    return found


def ask(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    why: str,
    who: str,
    at: datetime,
    *,
    place: str = PITS,
) -> Clearance:
    """Ask to switch on, and get the answer: cleared, or why to wait. A second press changes nothing.

    why    of CLEARANCE_REASONS
    place  of CLEARANCE_PLACES

    Raises RefusedError for a pilot who is not here, or whose place in a call or turn has the word, and InputError.
    """
    assert day.id is not None
    assert pilot.id is not None
    check_open(day)
    if why not in CLEARANCE_REASONS or place not in CLEARANCE_PLACES:
        raise InputError({"why": _("Choose what the transmitter is to be on for, and where.")})
    known = stored.live_of(session, pilot.id)
    if known is not None:
        return known
    check_pilot(session, day, pilot)
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    if flying is None:
        raise RefusedError(
            _(
                "%(callsign)s has no aircraft on the roster: add one at the desk first.",
                callsign=pilot.callsign,
            )
        )
    is_known = why not in (RETUNE, SET_UP) and is_confirmed(session, pilot)
    clearance = Clearance(
        field_day_id=day.id,
        pilot_id=pilot.id,
        aircraft_id=flying.id,
        why=why,
        place=place,
        mhz=channel_now(session, day, pilot) if is_known else None,
        power_mw=pit_power_mw(flying),
        asked_at=at,
    )
    stored.add(session, clearance)
    text = _("%(callsign)s asks to switch on: %(why)s.", callsign=pilot.callsign, why=_(why))
    write_down(session, day, clearance, who, "asked for clearance", text, at)
    answer(session, day, clearance, at)
    return clearance


def answer(session: Session, day: FieldDay, clearance: Clearance, at: datetime) -> str:
    """Clear who waits, or say why to wait and how long; the sentence, empty where it is clear now."""
    if clearance.stage != WAITING:
        return ""
    why = pit_air.why_wait(session, day, clearance)
    if why:
        clearance.words = why
        session.flush()
        return why
    _clear(session, day, clearance, "", BY_ITSELF, at)
    return ""


def override(
    session: Session, day: FieldDay, clearance_id: int, seen: str, words: str, who: str, at: datetime
) -> None:
    """Clear who waits by the director's word. Raises InputError without words or with too many, RefusedError under
    EVERYBODY LAND, and as `is_on` does.
    """
    clearance = _seen(session, day, clearance_id, seen)
    if line_of(session, day).everybody_land_at is not None:
        raise RefusedError(_(ALARM_FIRST))
    _clear(session, day, clearance, why_overridden(words), who, at)


def is_on(session: Session, day: FieldDay, clearance_id: int, seen: str, who: str, at: datetime) -> None:
    """Note that a cleared transmitter is on. Raises OvertakenError, RefusedError or NotFoundError."""
    clearance = _seen(session, day, clearance_id, seen)
    callsign = callsign_of(session, clearance)
    clearance.stage, clearance.on_at = after(clearance.stage, SWITCHED_ON, callsign), at
    text = _("%(callsign)s is on: %(why)s.", callsign=callsign, why=_(clearance.why))
    write_down(session, day, clearance, who, "on in the pits", text, at)


def is_off(session: Session, day: FieldDay, clearance_id: int, seen: str, who: str, at: datetime) -> None:
    """Note that it is off, or does not want to be on any more. Raises as `is_on` does."""
    clearance = _seen(session, day, clearance_id, seen)
    was_unasked = clearance.stage == UNASKED
    _end(session, day, clearance, who, at)
    if was_unasked:
        words = _("%(callsign)s is on still.", callsign=callsign_of(session, clearance))
        remember(session, day, {"words": words, "clearance": clearance.id, "event": NOT_OFF})
    settle(session, day, at)


def act_of_pilot(
    session: Session, day: FieldDay, pilot: Pilot, clearance_id: int, seen: str, name: str, at: datetime
) -> None:
    """What a pilot does to the own clearance from the own phone: "on" or "off". Raises as `is_on` does."""
    act = {"on": is_on, "off": is_off}.get(name)
    if act is None or clearance_of(session, day, clearance_id).pilot_id != pilot.id:
        raise NotFoundError(_("There is no such clearance of this pilot."))
    act(session, day, clearance_id, seen, PILOT, at)


def act_of_director(
    session: Session,
    day: FieldDay,
    clearance_id: int,
    seen: str,
    name: str,
    words: str,
    who: str,
    at: datetime,
) -> None:
    """What the desk does to anybody's clearance: "on", "off", or "override" in words. Raises as those do."""
    if name == "override":
        override(session, day, clearance_id, seen, words, who, at)
        return
    act = {"on": is_on, "off": is_off}.get(name)
    if act is None:
        raise NotFoundError(_("There is nothing of this name to be done to a clearance."))
    act(session, day, clearance_id, seen, who, at)


def settle(session: Session, day: FieldDay, at: datetime) -> None:
    """Answer everybody who waits anew, in the order they asked; who left the day, or has a place in a call or at
    open flying, does not wait any more.
    """
    assert day.id is not None
    for clearance in stored.live(session, day.id):
        if clearance.stage != WAITING:
            continue
        pilot = pilots.by_id(session, day.id, clearance.pilot_id)
        in_call = pit_air.is_in_call(session, day, clearance.pilot_id)
        if pilot is None or pilot.state != CHECKED_IN or in_call or _has_place(session, clearance.pilot_id):
            _end(session, day, clearance, BY_ITSELF, at)
        else:
            answer(session, day, clearance, at)


def clearance_of(session: Session, day: FieldDay, clearance_id: int) -> Clearance:
    """Raises NotFoundError, also for one of another day."""
    found = stored.by_id(session, day.id or 0, clearance_id)
    if found is None:
        raise NotFoundError(_("There is no such clearance on this day."))
    return found


def callsign_of(session: Session, clearance: Clearance) -> str:
    pilot = pilots.by_id(session, clearance.field_day_id, clearance.pilot_id)
    assert pilot is not None
    return pilot.callsign


def check_pilot(session: Session, day: FieldDay, pilot: Pilot) -> None:
    """Raises RefusedError for who is not here, or whose place in a call or turn has the word."""
    assert day.id is not None
    assert pilot.id is not None
    if pilot.state != CHECKED_IN:
        raise RefusedError(
            _(
                "%(callsign)s is %(state)s: bring the pilot back at the desk first.",
                callsign=pilot.callsign,
                state=_(pilot.state),
            )
        )
    if pit_air.is_in_call(session, day, pilot.id):
        raise RefusedError(
            _(
                "%(callsign)s is in the heat that is called: its turn says when to power up.",
                callsign=pilot.callsign,
            )
        )
    if _has_place(session, pilot.id):
        raise RefusedError(
            _("%(callsign)s has a place at open flying: that says when to power up.", callsign=pilot.callsign)
        )


def _has_place(session: Session, pilot_id: int) -> bool:
    """At open flying; a place in the queue is none."""
    turn = turns.live_of(session, pilot_id)
    return turn is not None and turn.stage != WAITING


def _seen(session: Session, day: FieldDay, clearance_id: int, seen: str) -> Clearance:
    check_open(day)
    clearance = clearance_of(session, day, clearance_id)
    if clearance.seen != seen:
        raise OvertakenError(
            _(
                "Somebody was faster: %(callsign)s %(state)s now. Look at the page as it is.",
                callsign=callsign_of(session, clearance),
                state=_(_IS[clearance.stage]),
            )
        )
    return clearance


def _clear(session: Session, day: FieldDay, clearance: Clearance, words: str, who: str, at: datetime) -> None:
    callsign = callsign_of(session, clearance)
    clearance.stage = after(clearance.stage, CLEAR, callsign)
    clearance.words, clearance.answered_at = words, at
    why = _(clearance.why)
    action = "clearance overridden" if words else "cleared to switch on"
    text = _("%(callsign)s may switch on for %(why)s: clear by computation.", callsign=callsign, why=why)
    if words:
        text = _(
            "%(callsign)s may switch on for %(why)s, by the %(who)s's word: %(words)s",
            callsign=callsign,
            why=why,
            who=_(who),
            words=words,
        )
    write_down(session, day, clearance, who, action, text, at)


def _end(session: Session, day: FieldDay, clearance: Clearance, who: str, at: datetime) -> None:
    callsign, was = callsign_of(session, clearance), clearance.stage
    clearance.stage, clearance.off_at = after(was, SWITCHED_OFF, callsign), at
    text = (
        _("%(callsign)s does not wait any more.", callsign=callsign)
        if was == WAITING
        else _("%(callsign)s is off: %(why)s.", callsign=callsign, why=_(clearance.why))
    )
    write_down(session, day, clearance, who, "clearance ended", text, at)


def write_down(
    session: Session, day: FieldDay, clearance: Clearance, who: str, action: str, text: str, at: datetime
) -> None:
    """One row of the logbook about a clearance."""
    facts = {
        "clearance_id": clearance.id,
        "pilot_id": clearance.pilot_id,
        "why": clearance.why,
        "place": clearance.place,
        "mhz": clearance.mhz,
        "power_mw": clearance.power_mw,
        "stage": clearance.stage,
    }
    log(session, day, who, action, text, facts, at)
