"""What is saved of a choice that a small form or a press changes, as its page shows it: see `stale_forms.py`.

Presses that say of which stage they are (`seen`), and the draft with its version, have a check of their own.
"""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services import flight_line
from server.services.day_fields import zone_of_this_machine
from server.services.power_choice import AUTO, wished_level
from server.services.roster_rows import YES
from server.services.saved_forms import last_of_club, last_of_day, last_of_pilot
from server.services.stale_forms import Field, Saved
from server.storage import turns
from server.storage.tables import PILOT_STATES, Aircraft, Club, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked, time_of_day

OPEN, CLOSED = "open", "closed"
LIFTED = ""
NEW = "new"
"""What is wished of a pass phrase."""


def state_of_pilot(session: Session, day: FieldDay, pilot: Pilot) -> Saved:
    fields = {"state": Field(_("State"), {state: _(state) for state in PILOT_STATES})}
    last = last_of_pilot(session, day, pilot, ("pilot withdrawn", "pilot no-show", "pilot brought back"))
    return Saved(pilot.callsign, {"state": pilot.state}, fields, last=last)


def aircraft_that_flies(session: Session, day: FieldDay, pilot: Pilot, all_of: Sequence[Aircraft]) -> Saved:
    fields = {"aircraft": Field(_("Aircraft"), {str(one.id): one.name for one in all_of})}
    last = last_of_pilot(session, day, pilot, ("aircraft swapped",))
    return Saved(pilot.callsign, {"aircraft": str(pilot.flying_aircraft_id)}, fields, last=last)


def hours(session: Session, day: FieldDay) -> Saved:
    line = flight_line.line_of(session, day)
    fields = {
        "starts_at": Field(_("First heat at")),
        "ends_by": Field(_("Over by")),
        "beside": Field(_("Pits beside a heat"), {"": _("wait"), YES: _("may power up where that is clear")}),
    }
    texts = {
        "starts_at": line.starts_at,
        "ends_by": line.ends_by,
        "beside": YES if line.may_clear_beside else "",
    }
    return Saved(
        _("the hours of the day"), texts, fields, last=last_of_day(session, day, ("hours of the day",))
    )


def everybody_land(session: Session, day: FieldDay) -> Saved:
    """Which one is on, for whoever lifts it."""
    line = flight_line.line_of(session, day)
    mark, stands = flight_line.land_mark(line), _("lifted")
    if line.everybody_land_at is not None:
        at = time_of_day(line.everybody_land_at.astimezone(ZoneInfo(day.time_zone)), with_seconds=True)
        stands = _("on since %(time)s: %(reason)s", time=at, reason=line.everybody_land_reason)
    fields = {"since": Field(_("EVERYBODY LAND"), {mark: stands, LIFTED: _("lifted")})}
    last = last_of_day(session, day, ("everybody land",))
    return Saved(_("EVERYBODY LAND"), {"since": mark}, fields, last=last)


def next_heat(session: Session, day: FieldDay) -> Saved:
    fields = {"next_heat": Field(_("Next heat to fly"), {})}
    texts = {"next_heat": str(day.flown_heats + 1)}
    return Saved(_("the next heat"), texts, fields, last=last_of_day(session, day, ("heats flown",)))


def aircraft_at_once(session: Session, day: FieldDay) -> Saved:
    fields = {"aircraft": Field(_("Aircraft in the air"), {})}
    last = last_of_day(session, day, ("aircraft chosen", "site changed"))
    return Saved(_("how many fly at once"), {"aircraft": str(day.aircraft)}, fields, last=last)


def common_power(session: Session, day: FieldDay) -> Saved:
    text = wished_level(day)
    fields = {"common_power_mw": Field(_("Power for all, mW"), {AUTO: _("chosen by the planner")})}
    last = last_of_day(session, day, ("power chosen", "site changed"))
    return Saved(_("the power for all"), {"common_power_mw": text}, fields, last=last)


def open_flying(session: Session, day: FieldDay) -> Saved:
    row = turns.open_flying_of(session, day.id or 0)
    fields = {
        "state": Field(_("Open flying"), {OPEN: _("open"), CLOSED: _("closed")}),
        "beside": Field(
            _("Pits while others fly"),
            {"": _("the director says"), YES: _("may power up where that is clear")},
        ),
    }
    texts = {
        "state": OPEN if row and row.is_open else CLOSED,
        "beside": YES if row and row.may_power_up_beside else "",
    }
    actions = ("open flying opened", "open flying closed", "pit rule changed")
    return Saved(_("open flying"), texts, fields, last=last_of_day(session, day, actions))


def club(session: Session, club: Club) -> Saved:
    last = last_of_club(session, club.id or 0, ("club named", "club made"), zone_of_this_machine())
    return Saved(_("the name of the club"), {"name": club.name}, {"name": Field(_("Name"))}, last=last)


PHRASE_MADE = marked(
    "A new pass phrase was made since this page was loaded (%(who)s, %(time)s): by this very press, if it was "
    "sent twice, or by somebody else. It was shown once and is kept nowhere: make another if nobody noted it."
)


def pass_phrase(session: Session, club_id: int, role: str, made_at: datetime | None) -> Saved:
    """When the pass phrase of a role was made, which says which it is; the phrase itself is kept nowhere."""
    zone = zone_of_this_machine()
    stands = _("none")
    if made_at is not None:
        stands = _(
            "made at %(time)s", time=time_of_day(made_at.astimezone(ZoneInfo(zone)), with_seconds=True)
        )
    mark = phrase_mark(made_at)
    fields = {"phrase": Field(_("Pass phrase: %(role)s", role=_(role)), {mark: stands, NEW: _("a new one")})}
    last = last_of_club(session, club_id, ("pass phrase made", "pass phrase reset"), zone)
    return Saved(_("this pass phrase"), {"phrase": mark}, fields, last=last, told=PHRASE_MADE)


def phrase_mark(made_at: datetime | None) -> str:
    """What the page of pass phrases repeats of one."""
    return made_at.isoformat() if made_at else ""
