"""What can happen to a day that has a plan: each event is noted where it belongs, with its row in the logbook.

What it costs is worked out after that (`trade_offs`), of the day as it then stands.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.services import aircraft, down_transmitters, draft_changes, edits, pilots
from server.services.edits import channel_words
from server.services.errors import InputError
from server.services.roles import acting
from server.services.standings import DraftNow
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import ngettext

Choice = tuple[str, str]
"""A value to send and the words to show."""


@dataclass(frozen=True)
class Happened:
    """An event as it was noted.

    text     a sentence
    joining  pilots, by id, who are to get a slot
    undo     the form that takes it back; empty where nothing was noted, or the draft's own undo does
    """

    text: str
    joining: tuple[int, ...] = ()
    undo: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Choices:
    """What can be picked for each event; an empty list means that it cannot happen now.

    late    checked in, in no heat ahead, and not yet through with every round ahead
    flying  in a heat ahead
    spares  an aircraft of somebody who flies, not the one that flies today
    noisy   channels of the heats ahead
    down    whose transmitter could be lost
    again   heats that were flown
    """

    late: tuple[Choice, ...] = ()
    flying: tuple[Choice, ...] = ()
    spares: tuple[Choice, ...] = ()
    noisy: tuple[Choice, ...] = ()
    down: tuple[Choice, ...] = ()
    again: tuple[Choice, ...] = ()


def choices(session: Session, day: FieldDay, draft: DraftNow) -> Choices:
    """What a director may say of this day."""
    basis, content = draft.basis, draft.content
    ahead = content.heats[basis.flown :]
    flying = {slot.pilot_id for heat in ahead for slot in heat.slots}
    by_callsign = sorted(basis.pilots.items(), key=lambda one: one[1].callsign.casefold())
    names = {pilot_id: pilot.callsign for pilot_id, pilot in by_callsign}
    late = [(str(pilot_id), name) for pilot_id, name in waiting(draft).items()]
    here = [(str(pilot_id), name) for pilot_id, name in names.items() if pilot_id in flying]
    in_use = sorted({slot.mhz for heat in ahead for slot in heat.slots})
    labels = {
        slot.mhz: channel_words(basis.pilots[slot.pilot_id], slot.mhz)
        for heat in ahead
        for slot in heat.slots
    }
    return Choices(
        late=(*([("all", _all_of(len(late)))] if len(late) > 1 else []), *late),
        flying=tuple(here),
        spares=tuple(_spares(session, day, [int(one[0]) for one in here])),
        noisy=tuple((str(mhz), labels[mhz]) for mhz in in_use),
        down=tuple((str(pilot_id), name) for pilot_id, name in names.items()),
        again=tuple(
            (str(number), _("Heat %(number)s", number=number)) for number in range(basis.flown, 0, -1)
        ),
    )


def happen(
    session: Session, day: FieldDay, draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    """Note what happened. Raises InputError for a choice that is none, and what noting it raises."""
    act = form.get("act", "")
    if act not in _EVENTS:
        raise InputError({"act": _("Choose what happened from the list.")})
    return _EVENTS[act](session, day, draft, form, at)


def waiting(draft: DraftNow) -> dict[int, str]:
    """Pilots, by id, who could still join a round."""
    flown = draft.basis.flown
    ahead, history = draft.content.heats[flown:], draft.content.heats[:flown]
    flying = {slot.pilot_id for heat in ahead for slot in heat.slots}
    rounds = {heat.round for heat in ahead}
    done = {(heat.round, slot.pilot_id) for heat in history for slot in heat.slots}
    return {
        pilot_id: pilot.callsign
        for pilot_id, pilot in draft.basis.pilots.items()
        if pilot_id not in flying and any((number, pilot_id) not in done for number in rounds)
    }


def _all_of(many: int) -> str:
    return _("Both of them") if many == 2 else _("All %(number)s of them", number=many)


def _late(
    _session: Session, _day: FieldDay, draft: DraftNow, form: Mapping[str, str], _at: datetime
) -> Happened:
    wanted = form.get("pilot", "")
    could_join = waiting(draft)
    joining = [one for one in could_join if wanted in ("all", str(one))]
    if not joining:
        raise InputError({"pilot": _("Choose a pilot who is checked in and in no heat ahead.")})
    names = ", ".join(could_join[one] for one in joining)
    text = ngettext("%(names)s arrives late.", "%(names)s arrive late.", len(joining), names=names)
    return Happened(text, tuple(joining))


def _gone(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    pilot = _pilot(session, day, form)
    state = {"withdrawn": WITHDRAWN, "no-show": NO_SHOW}.get(form.get("state", ""))
    if state is None:
        raise InputError({"state": _("Choose whether the pilot withdraws or did not come.")})
    pilots.set_state(session, day, pilot, state, acting(session), at)
    text = _("%(callsign)s did not come.", callsign=pilot.callsign)
    if state == WITHDRAWN:
        text = _("%(callsign)s withdraws.", callsign=pilot.callsign)
    return Happened(text, undo={"act": "back", "pilot": str(pilot.id)})


def _back(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    pilot = _pilot(session, day, form)
    pilots.set_state(session, day, pilot, CHECKED_IN, acting(session), at)
    return Happened(_("%(callsign)s is back on the roster.", callsign=pilot.callsign))


def _spare(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    """The aircraft is a pilot and an aircraft in one value, "3:14"."""
    pilot_id, aircraft_id = form.get("aircraft", "").partition(":")[::2]
    pilot = _pilot(session, day, {"pilot": pilot_id})
    chosen = aircraft.aircraft_of(session, pilot, int(aircraft_id) if aircraft_id.isdigit() else 0)
    before = pilot.flying_aircraft_id
    aircraft.fly(session, day, pilot, chosen, acting(session), at)
    text = _(
        "%(callsign)s flies %(name)s from now on. Check its picture.",
        callsign=pilot.callsign,
        name=chosen.name,
    )
    return Happened(text, undo={"act": "spare", "aircraft": f"{pilot.id}:{before}"} if before else {})


def _noisy(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    mhz = form.get("mhz", "")
    if not (mhz.isascii() and mhz.isdigit() and len(mhz) < 6):
        raise InputError({"mhz": _("Choose the noisy channel from the list.")})
    draft_changes.ban(session, day, _version(form), int(mhz), at)
    return Happened(_("%(mhz)s MHz is noisy and out of use from now on.", mhz=mhz))


def _down(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    pilot = _pilot(session, day, form)
    down = down_transmitters.report(session, day, pilot, at)
    text = _("%(callsign)s is down, still on, on %(mhz)s MHz.", callsign=pilot.callsign, mhz=down.mhz)
    return Happened(text, undo={"act": "found", "down": str(down.id)})


def _again(
    session: Session, day: FieldDay, _draft: DraftNow, form: Mapping[str, str], at: datetime
) -> Happened:
    heat = form.get("heat", "")
    number = int(heat) if heat.isascii() and heat.isdigit() and len(heat) < 6 else 0
    if not 1 <= number <= day.flown_heats:
        raise InputError({"heat": _("Choose a heat that was flown.")})
    edited = draft_changes.edit(
        session, day, _version(form), lambda content, basis: edits.fly_again(content, basis, number), at
    )
    return Happened(edited.text)


def _look(
    _session: Session, _day: FieldDay, _draft: DraftNow, _form: Mapping[str, str], _at: datetime
) -> Happened:
    return Happened(_("The day as it stands."))


_Event = Callable[[Session, FieldDay, DraftNow, Mapping[str, str], datetime], Happened]

_EVENTS: Mapping[str, _Event] = {
    "late": _late,
    "gone": _gone,
    "back": _back,
    "spare": _spare,
    "noisy": _noisy,
    "down": _down,
    "again": _again,
    "look": _look,
}


def _spares(session: Session, day: FieldDay, pilot_ids: list[int]) -> list[Choice]:
    found = []
    for pilot_id in pilot_ids:
        pilot = pilots.pilot_of(session, day, pilot_id)
        found += [
            (f"{pilot_id}:{one.id}", f"{pilot.callsign}, {one.name}: {one.tunes}")
            for one in aircraft.all_of(session, pilot)
            if one.id != pilot.flying_aircraft_id
        ]
    return found


def _pilot(session: Session, day: FieldDay, form: Mapping[str, str]) -> Pilot:
    text = form.get("pilot", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError({"pilot": _("Choose a pilot from the list.")})
    return pilots.pilot_of(session, day, int(text))


def _version(form: Mapping[str, str]) -> int:
    text = form.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
