"""The roster of a day: pilots come, change, leave and come back. Every change writes its row in the logbook."""

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from sqlmodel import Session

from server.services import provisional, saved_forms
from server.services.callsigns import callsign_key, misleading
from server.services.errors import NotFoundError, OvertakenError, RefusedError
from server.services.faults import FieldFault
from server.services.lineup import list_of, problem_pilots
from server.services.roster import RosterPilot
from server.services.roster_files import MOST_PILOTS
from server.services.roster_rows import (
    PILOT_FIELDS,
    PRIVATE_FIELDS,
    SET_UP_FIELDS,
    gear_words,
    log,
    pilot_text,
    plain,
    read_text,
    set_up_text,
    write_pilot,
    write_set_up,
)
from server.services.stale_forms import Form, check_fresh
from server.services.video import VideoKind, with_carrier
from server.storage import pilots
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN, Aircraft, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

__all__ = [
    "Reading",
    "add",
    "callsigns_here",
    "check_open",
    "edit",
    "give_channel",
    "pilot_of",
    "problem_pilots",
    "read_beside",
    "read_new",
    "set_state",
    "store",
]

TOKEN_BYTES = 16
"""128 bits: nobody guesses another pilot's link."""

_STATE_WORDS = {
    WITHDRAWN: ("pilot withdrawn", marked("%(callsign)s withdrew.")),
    NO_SHOW: ("pilot no-show", marked("%(callsign)s did not come.")),
    CHECKED_IN: ("pilot brought back", marked("%(callsign)s is back on the roster.")),
}


@dataclass(frozen=True)
class Reading:
    """A pilot read from a form, not stored yet; `text` as it will be kept."""

    pilot: RosterPilot
    video: VideoKind
    text: Mapping[str, str]


def pilot_of(session: Session, day: FieldDay, pilot_id: int) -> Pilot:
    """Raises NotFoundError, also for a pilot of another day."""
    pilot = pilots.by_id(session, _id(day), pilot_id)
    if pilot is None:
        raise NotFoundError(_("There is no such pilot on the roster of this day."))
    return pilot


def callsigns_here(session: Session, day: FieldDay) -> list[str]:
    """Who is checked in, by callsign, in alphabetical order."""
    here = pilots.of_day(session, _id(day), [CHECKED_IN])
    return [pilot.callsign for pilot in sorted(here, key=lambda one: one.callsign_key)]


def read_new(session: Session, day: FieldDay, typed: Mapping[str, str]) -> Reading:
    """A pilot to be added. Raises FieldsError with all faults, RefusedError where nobody can be added."""
    check_open(day)
    roster = pilots.of_day(session, _id(day))
    if len(roster) >= MOST_PILOTS:
        raise RefusedError(
            _(
                "%(most)s pilots are on the roster, the most that a field day holds.",
                most=MOST_PILOTS,
            )
        )
    return read_beside(typed, roster)


def read_beside(
    typed: Mapping[str, str],
    others: Iterable[Pilot],
    listed: Mapping[str, str] = MappingProxyType({}),
    faults: Sequence[FieldFault] = (),
    kept: str = "",
) -> Reading:
    """A pilot beside the others of the roster. Raises FieldsError with all faults.

    listed  further callsigns by key that come with this one, for the lists of other pilots
    faults  found before, to be told together with what is wrong here
    kept    the callsign that the pilot has already, which is not judged again
    """
    text = plain(with_carrier(typed), (*PILOT_FIELDS, *SET_UP_FIELDS))
    by_key = {one.callsign_key: one for one in others}
    own_key = callsign_key(text["callsign"])
    known = {**listed, **{key: one.callsign for key, one in by_key.items()}, own_key: text["callsign"]}
    found = list(faults)
    if own_key in by_key:
        found.append(_taken(text["callsign"], by_key[own_key]))
    elif own_key != callsign_key(kept) and (fault := misleading(text["callsign"])):
        found.append(fault)
    pilot, kind = read_text(text, known, found)
    return Reading(pilot, kind, text)


def add(
    session: Session,
    day: FieldDay,
    typed: Mapping[str, str],
    who: str,
    at: datetime,
    join_id: str | None = None,
) -> Pilot:
    """Check a pilot in with a main aircraft, and give a provisional channel.

    typed  text by field of PILOT_FIELDS and SET_UP_FIELDS; missing ones are empty

    Raises FieldsError with all faults, RefusedError where nobody can be added.
    """
    return store(session, day, read_new(session, day, typed), who, at, join_id)


def store(
    session: Session,
    day: FieldDay,
    reading: Reading,
    who: str,
    at: datetime,
    join_id: str | None = None,
    gives_channel: bool = True,
) -> Pilot:
    """Add a pilot who was read beside this very roster."""
    pilot = Pilot(
        field_day_id=_id(day),
        callsign=reading.pilot.callsign,
        callsign_key=callsign_key(reading.pilot.callsign),
        link_token=secrets.token_urlsafe(TOKEN_BYTES),
        join_id=join_id,
        created_at=at,
        updated_at=at,
    )
    write_pilot(pilot, reading.pilot, reading.text)
    pilots.add(session, pilot)
    assert pilot.id is not None
    main = Aircraft(pilot_id=pilot.id, tunes="")
    write_set_up(main, reading.pilot, reading.video, reading.text)
    pilots.add_aircraft(session, main)
    pilot.flying_aircraft_id = main.id
    session.flush()
    if gives_channel:
        provisional.give(session, day, pilot)
    words = _("%(callsign)s checked in: %(gear)s.", callsign=pilot.callsign, gear=gear_words(reading.text))
    if pilot.provisional_mhz:
        words = f"{words} {_('Provisional channel: %(mhz)s MHz.', mhz=pilot.provisional_mhz)}"
    facts = {"set_up": set_up_text(main), "provisional_mhz": pilot.provisional_mhz}
    log(session, day, pilot, who, "pilot added", words, facts, at)
    return pilot


def renew_link(session: Session, day: FieldDay, pilot: Pilot, seen: str, who: str, at: datetime) -> None:
    """A new private link; the old one is void from now on, and so is the page by which the pilot joined.

    seen  the link that the page showed

    Raises OvertakenError where there is another by now, which may be in the pilot's hands.
    """
    if seen != pilot.link_token:
        raise OvertakenError(
            _(
                "%(callsign)s has a new link since this page was loaded: it is the one shown here. No other was "
                "made.",
                callsign=pilot.callsign,
            )
        )
    pilot.link_token, pilot.join_id = secrets.token_urlsafe(TOKEN_BYTES), None
    pilot.updated_at = at
    session.add(pilot)
    session.flush()
    words = _("%(callsign)s has a new private link; the old one is void.", callsign=pilot.callsign)
    log(session, day, pilot, who, "link renewed", words, {}, at)


def edit(session: Session, day: FieldDay, pilot: Pilot, form: Form, who: str, at: datetime) -> None:
    """Change what belongs to the pilot. Raises StaleFormError, or FieldsError with all faults."""
    check_open(day)
    assert pilot.id is not None
    before = pilot_text(pilot)
    check_fresh(form, saved_forms.pilot(session, day, pilot))
    others = [one for one in pilots.of_day(session, _id(day)) if one.id != pilot.id]
    flying = next(one for one in pilots.aircraft_of(session, pilot.id) if one.id == pilot.flying_aircraft_id)
    reading = read_beside({**set_up_text(flying), **form.typed}, others, kept=pilot.callsign)
    write_pilot(pilot, reading.pilot, reading.text)
    after = pilot_text(pilot)
    changed = [name for name in PILOT_FIELDS if before[name] != after[name]]
    if not changed:
        return
    _rename(others, before["callsign"], pilot.callsign)
    session.flush()
    provisional.keep_or_give(session, day, pilot)
    facts = {name: [before[name], after[name]] for name in changed if name not in PRIVATE_FIELDS}
    log(session, day, pilot, who, "pilot changed", _change_words(before, after, changed), facts, at)


def set_state(session: Session, day: FieldDay, pilot: Pilot, state: str, who: str, at: datetime) -> None:
    """Withdraw a pilot, note a no-show, or bring either back; a second press of a button changes nothing."""
    check_open(day)
    if pilot.state == state:
        return
    pilot.state = state
    session.flush()
    if state == CHECKED_IN:
        provisional.keep_or_give(session, day, pilot)
    action, words = _STATE_WORDS[state]
    log(session, day, pilot, who, action, _(words, callsign=pilot.callsign), {}, at)


def give_channel(session: Session, day: FieldDay, pilot: Pilot, who: str, at: datetime) -> None:
    """Choose the provisional channel anew."""
    check_open(day)
    provisional.give(session, day, pilot)
    mhz = pilot.provisional_mhz
    words = (
        _("%(callsign)s: provisional channel %(mhz)s MHz.", callsign=pilot.callsign, mhz=mhz)
        if mhz
        else _("No channel fits %(callsign)s.", callsign=pilot.callsign)
    )
    log(session, day, pilot, who, "channel given", words, {"provisional_mhz": mhz}, at)


def check_open(day: FieldDay) -> None:
    """Raises RefusedError for a day that was put away."""
    if day.archived_at is not None:
        raise RefusedError(_("This field day is archived: bring it back before you change its roster."))


def _taken(callsign: str, by: Pilot) -> FieldFault:
    if by.state == CHECKED_IN:
        problem, cure = (
            _("%(callsign)s is checked in already", callsign=by.callsign),
            _("add a letter or a figure, or edit that pilot"),
        )
    else:
        problem, cure = (
            _("%(callsign)s is on the roster, %(state)s", callsign=by.callsign, state=_(by.state)),
            _("bring that pilot back, or add a letter"),
        )
    return FieldFault("callsign", callsign, problem, cure)


def _rename(others: Iterable[Pilot], old: str, new: str) -> None:
    """Who was named in the wishes of others stays named there."""
    for other in others if old != new else ():
        for name in ("apart", "together"):
            callsigns = list_of(getattr(other, name))
            if old in callsigns:
                setattr(other, name, ", ".join(new if one == old else one for one in callsigns))
        if other.spotter == old:
            other.spotter = new


def _change_words(before: Mapping[str, str], after: Mapping[str, str], changed: list[str]) -> str:
    told = [
        f"{name} {before[name] or _('none')} → {after[name] or _('none')}"
        for name in changed
        if _is_told(name)
    ]
    kept = [name.replace("_", " ") for name in changed if not _is_told(name)]
    return _("%(callsign)s: changed %(what)s.", callsign=before["callsign"], what=", ".join([*told, *kept]))


def _is_told(name: str) -> bool:
    return name not in PRIVATE_FIELDS


def _id(day: FieldDay) -> int:
    assert day.id is not None
    return day.id
