"""Pilots who check in by themselves, from a phone.

The phone makes an id and sends it along, so that what it sends again because no answer came is the same pilot.
Phones of one field share an address, so the limit against floods counts the day's newcomers and not who sends.
"""

import re
import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlmodel import Session

from server.services import pilots
from server.services.callsigns import callsign_key
from server.services.errors import NotFoundError, RefusedError
from server.services.faults import FieldFault, FieldsError
from server.services.gear import PRESETS, UNKNOWN
from server.services.pilots import check_open
from server.services.roster_rows import YES
from server.storage import pilots as stored
from server.storage.tables import FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

PILOT = marked("pilot")
"""Who it was, for the logbook."""

POWER_STEPS_MW = (25, 100, 200, 400, 600, 800)
"""Offered as boxes to tick; common practice, no source."""

MOST_AT_ONCE = 60
COUNTED_FOR = timedelta(minutes=10)

_JOIN_ID = re.compile(r"[A-Za-z0-9_-]{16,64}")
_TUNES_OF = {preset.name: preset.tunes for preset in PRESETS}


class JoinLimitError(RefusedError):
    def __init__(self) -> None:
        minutes = round(COUNTED_FOR.total_seconds() / 60)
        super().__init__(
            _(
                "More than %(most)s pilots joined by phone in %(minutes)s minutes. What you typed is "
                "kept: send it again in a few minutes, or tell the desk.",
                most=MOST_AT_ONCE,
                minutes=minutes,
            )
        )


def new_join_id() -> str:
    return secrets.token_urlsafe(16)


def typed_of(form: Mapping[str, str]) -> dict[str, str]:
    """The fields of the roster that a phone's form fills; a pilot checks in nothing else."""
    steps = [f"{mw}" for mw in POWER_STEPS_MW if form.get(f"mw-{mw}")]
    others = form.get("power_mw", "").strip()
    return {
        "callsign": form.get("callsign", ""),
        "tunes": form.get("tunes", "").strip() or _TUNES_OF.get(form.get("gear", ""), ""),
        "receives": form.get("receives", ""),
        "power_mw": " ".join([*steps, *([others] if others else [])]) or UNKNOWN,
        "antenna": form.get("antenna", ""),
        "spotter": form.get("spotter", ""),
        "name": form.get("name", ""),
        "adult_present": YES if form.get("adult_present") else "",
    }


def join(session: Session, day: FieldDay, join_id: str, form: Mapping[str, str], at: datetime) -> Pilot:
    """The pilot of this id: a new one, or the one whom an earlier try made.

    Raises FieldsError with all faults, JoinLimitError, RefusedError where nobody can be added.
    """
    assert day.id is not None
    wanted = join_id if _JOIN_ID.fullmatch(join_id) else new_join_id()
    if known := stored.by_join_id(session, day.id, wanted):
        return known
    check_open(day)
    if stored.count_joined_since(session, day.id, at - COUNTED_FOR) >= MOST_AT_ONCE:
        raise JoinLimitError
    try:
        return pilots.add(session, day, typed_of(form), PILOT, at, join_id=wanted)
    except FieldsError as error:
        raise FieldsError([_for_a_phone(session, day, form, fault) for fault in error.field_faults]) from None


def joined(session: Session, day: FieldDay, join_id: str) -> Pilot:
    """Raises NotFoundError for an id that never arrived here."""
    assert day.id is not None
    pilot = stored.by_join_id(session, day.id, join_id) if _JOIN_ID.fullmatch(join_id) else None
    if pilot is None:
        raise NotFoundError(_("Nobody has checked in with this address. Fill in the form again."))
    return pilot


def _for_a_phone(session: Session, day: FieldDay, form: Mapping[str, str], fault: FieldFault) -> FieldFault:
    """Cures that somebody with a phone can carry out."""
    if fault.field == "tunes" and not fault.text:
        if form.get("gear") in _TUNES_OF:
            return FieldFault("tunes", "", _("the channel is missing"), _("type it under “Or exactly”"))
        return FieldFault("tunes", "", _("nothing is chosen"), _("choose one of these; “Don't know” is fine"))
    taken = stored.by_callsign_key(session, day.id or 0, callsign_key(fault.text))
    if fault.field == "callsign" and taken:
        cure = _("if that is you, ask at the desk for your link; else add a letter or a figure")
        return FieldFault(
            "callsign", fault.text, _("%(callsign)s is on the roster already", callsign=taken.callsign), cure
        )
    return fault
