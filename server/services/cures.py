"""Cures of a conflict that the app can carry out by itself, in one press; the others are for people."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.allocator.plan import Cure
from server.services import draft_changes, edits, pilots
from server.services.callsigns import callsign_key
from server.services.errors import OvertakenError, RefusedError
from server.services.lineup import list_of
from server.services.roles import acting
from server.services.roster_rows import pilot_text
from server.services.stale_forms import Form
from server.services.standings import day_id, open_draft, version_of
from server.storage import pilots as stored_pilots
from server.storage.tables import FieldDay, Pilot
from server.wording import gettext as _

CAN_BE_CARRIED_OUT = {
    "more heats",
    "more at once",
    "unpin",
    "lift ban",
    "apart",
    "together",
    "heat",
    "take out",
}


def carry_out(session: Session, day: FieldDay, cure: Cure, at: datetime) -> None:
    """Do what a cure says, on the roster, the draft or the day. Raises what the act itself raises."""
    if cure.kind in ("more heats", "more at once"):
        draft_changes.fly(session, day, cure.number, at)
    elif cure.kind == "lift ban":
        row = open_draft(session, day)[0]
        draft_changes.lift_ban(session, day, version_of(row), cure.number, at)
    elif cure.kind == "take out":
        _take_out(session, day, cure, at)
    elif cure.kind == "unpin":
        _unpin(session, day, _pilot(session, day, cure.callsigns[0]), at)
    elif cure.kind == "heat":
        _change(session, day, _pilot(session, day, cure.callsigns[0]), {"heat": ""}, at)
    elif cure.kind in ("apart", "together"):
        for callsign in cure.callsigns:
            pilot = _pilot(session, day, callsign)
            left = [name for name in list_of(getattr(pilot, cure.kind)) if name not in cure.callsigns]
            _change(session, day, pilot, {cure.kind: ", ".join(left)}, at)
    else:
        raise RefusedError(_("Only people can do this: %(words)s.", words=cure.words))


def _pilot(session: Session, day: FieldDay, callsign: str) -> Pilot:
    pilot = stored_pilots.by_callsign_key(session, day_id(day), callsign_key(callsign))
    if pilot is None:
        raise OvertakenError(_("%(callsign)s is off the roster by now. Plan again.", callsign=callsign))
    return pilot


def _change(session: Session, day: FieldDay, pilot: Pilot, changes: Mapping[str, str], at: datetime) -> None:
    was = pilot_text(pilot)
    pilots.edit(session, day, pilot, Form({**was, **changes}, was, pilot.version), acting(session), at)


def _unpin(session: Session, day: FieldDay, pilot: Pilot, at: datetime) -> None:
    """Both the pin of the roster and that of the draft."""
    _change(session, day, pilot, {"pin": ""}, at)
    row, content = open_draft(session, day)[:2]
    pilot_id = pilot.id or 0
    if pilot_id in content.pins:
        draft_changes.edit(
            session, day, version_of(row), lambda now, basis: edits.unpin(now, basis, pilot_id), at
        )


def _take_out(session: Session, day: FieldDay, cure: Cure, at: datetime) -> None:
    """Heats without pilots are not planned, so the number counts those with some."""
    row, content, basis = open_draft(session, day)
    pilot_id = basis.ids().get(cure.callsigns[0], 0)
    flown = [number for number, heat in enumerate(content.heats, start=1) if heat.slots]
    if cure.number > len(flown):
        raise OvertakenError(_("The heats are others by now. Plan again."))
    number = flown[cure.number - 1]
    draft_changes.edit(
        session, day, version_of(row), lambda now, basis: edits.remove(now, basis, number, pilot_id), at
    )
