"""A pilot's aircraft: the main one, spares, and which of them flies today."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.services import provisional, saved_forms
from server.services.errors import NotFoundError, RefusedError
from server.services.faults import FieldFault, FieldsError
from server.services.pilots import check_open
from server.services.roster import RosterPilot, read_pilot
from server.services.roster_rows import (
    SET_UP_FIELDS,
    gear_words,
    log,
    plain,
    read_text,
    set_up_text,
    write_set_up,
)
from server.services.stale_forms import Form, check_fresh
from server.services.video import VideoKind, with_carrier
from server.storage import picture_checks, pilots
from server.storage.tables import Aircraft, FieldDay, Pilot
from server.wording import gettext as _

MOST_AIRCRAFT = 10
"""Of one pilot: nobody carries more to a field."""


def aircraft_of(session: Session, pilot: Pilot, aircraft_id: int) -> Aircraft:
    """Raises NotFoundError, also for an aircraft of another pilot."""
    for aircraft in all_of(session, pilot):
        if aircraft.id == aircraft_id:
            return aircraft
    raise NotFoundError(_("%(callsign)s has no such aircraft.", callsign=pilot.callsign))


def all_of(session: Session, pilot: Pilot) -> list[Aircraft]:
    """The main one first."""
    assert pilot.id is not None
    return pilots.aircraft_of(session, pilot.id)


def add_spare(
    session: Session, day: FieldDay, pilot: Pilot, typed: Mapping[str, str], who: str, at: datetime
) -> Aircraft:
    """One more aircraft; it flies when somebody says so. Raises FieldsError with all faults."""
    check_open(day)
    assert pilot.id is not None
    own = all_of(session, pilot)
    if len(own) >= MOST_AIRCRAFT:
        raise RefusedError(
            _(
                "%(callsign)s has %(most)s aircraft, the most that are kept.",
                callsign=pilot.callsign,
                most=MOST_AIRCRAFT,
            )
        )
    read, kind, text = _read(pilot, typed)
    spare = Aircraft(
        pilot_id=pilot.id, name=_("spare %(number)s", number=len(own)), position=len(own), tunes=""
    )
    write_set_up(spare, read, kind, text)
    pilots.add_aircraft(session, spare)
    words = f"{pilot.callsign}, {spare.name}: {gear_words(text)}."
    facts = {"aircraft_id": spare.id, "set_up": set_up_text(spare)}
    log(session, day, pilot, who, "aircraft added", words, facts, at)
    return spare


def change_set_up(
    session: Session, day: FieldDay, pilot: Pilot, aircraft: Aircraft, form: Form, who: str, at: datetime
) -> None:
    """Change a video set-up. Raises StaleFormError, or FieldsError with all faults.

    A pin is not held against it here: `pilot_edits.save` reads the pilot again after the gear.
    """
    check_open(day)
    before = set_up_text(aircraft)
    check_fresh(form, saved_forms.set_up(session, day, pilot, aircraft))
    read, kind, text = _read(pilot, form.typed)
    write_set_up(aircraft, read, kind, text)
    after = set_up_text(aircraft)
    changed = {name: [before[name], after[name]] for name in SET_UP_FIELDS if before[name] != after[name]}
    if not changed:
        return
    session.flush()
    if aircraft.id == pilot.flying_aircraft_id:
        provisional.keep_or_give(session, day, pilot)
    words = f"{pilot.callsign}, {aircraft.name}: {gear_words(text)}."
    facts = {"aircraft_id": aircraft.id, "changed": changed}
    log(session, day, pilot, who, "set-up changed", words, facts, at)


def fly(session: Session, day: FieldDay, pilot: Pilot, aircraft: Aircraft, who: str, at: datetime) -> None:
    """Take this aircraft of the pilot's from now on; it needs a new picture check."""
    check_open(day)
    if pilot.flying_aircraft_id == aircraft.id:
        return
    read = _read(pilot, set_up_text(aircraft))[0]
    _check_pin(pilot, read)
    assert pilot.id is not None
    pilot.flying_aircraft_id = aircraft.id
    picture_checks.void_all_of(session, pilot.id)
    provisional.keep_or_give(session, day, pilot)
    words = _(
        "%(callsign)s flies %(name)s from now on. Check its picture.",
        callsign=pilot.callsign,
        name=aircraft.name,
    )
    log(session, day, pilot, who, "aircraft swapped", words, {"aircraft_id": aircraft.id}, at)


def _read(pilot: Pilot, typed: Mapping[str, str]) -> tuple[RosterPilot, VideoKind, dict[str, str]]:
    """Raises FieldsError with all faults."""
    text = plain(with_carrier(typed), SET_UP_FIELDS)
    read, kind = read_text({**text, "callsign": pilot.callsign}, {})
    return read, kind, text


def _check_pin(pilot: Pilot, read: RosterPilot) -> None:
    """The pin belongs to the pilot and must hold for the aircraft that flies. Raises FieldsError."""
    try:
        read_pilot({**read.typed, "callsign": pilot.callsign, "pin": pilot.pin}, {})
    except FieldsError as error:
        fault = error.field_faults[0]
        raise FieldsError([FieldFault("tunes", pilot.pin, fault.problem, _("clear the pin first"))]) from None
