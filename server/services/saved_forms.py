"""What is saved of what a form with many fields changes, as it shows it, and who saved last (`stale_forms.py`)."""

import json
from collections.abc import Callable, Iterable

from sqlmodel import Session

from server.radio.rules import RULE_SETS
from server.services import site_fields
from server.services.import_columns import FIELDS
from server.services.own_rules import OWN_KEY
from server.services.roster_rows import YES, pilot_text, set_up_text
from server.services.site_fields import NO_RULES
from server.services.stale_forms import Field, LastChange, Saved
from server.storage import logbook
from server.storage.tables import Aircraft, FieldDay, LogbookEntry, Pilot
from server.wording import gettext as _

Last = Callable[[], LastChange | None]


_SITE_ACTIONS = (
    "site changed",
    "rules chosen",
    "rules taken back",
    "responsibility taken",
    "responsibility taken back",
    "address chosen",
    "aircraft chosen",
    "power chosen",
)
_PILOT_ACTIONS = ("pilot changed", "set-up changed", "aircraft added", "aircraft swapped")


def site(session: Session, day: FieldDay) -> Saved:
    rules = {key: _(rule_set.name) for key, rule_set in RULE_SETS.items()}
    choices = {
        "own_licence_needed": {"": _("no"), YES: _("yes")},
        "rules": {**rules, NO_RULES: _("none"), OWN_KEY: _("ranges of your own")},
    }
    fields = {
        name: Field(label[:1].upper() + label[1:], choices.get(name))
        for name, label in site_fields.labels().items()
    }
    texts = site_fields.fields_of(day)
    return Saved(_("Site & rules"), texts, fields, day.version, last_of_day(session, day, _SITE_ACTIONS))


def pilot(session: Session, day: FieldDay, pilot: Pilot) -> Saved:
    ticks = {"": _("not ticked"), YES: _("ticked")}
    fields = {
        name: Field(_(FIELDS[name]), ticks if name == "adult_present" else None) for name in pilot_text(pilot)
    }
    last = last_of_pilot(session, day, pilot, _PILOT_ACTIONS)
    return Saved(pilot.callsign, pilot_text(pilot), fields, pilot.version, last)


def set_up(session: Session, day: FieldDay, pilot: Pilot, aircraft: Aircraft) -> Saved:
    antennas = {"rhcp": _("Right-hand"), "lhcp": _("Left-hand"), "linear": _("Linear")}
    fields = {name: Field(_(FIELDS[name])) for name in set_up_text(aircraft) if name in FIELDS} | {
        "antenna": Field(_("Antenna"), antennas),
        "rx_antenna": Field(_("Goggles' antenna"), {"": _("As the aircraft's"), **antennas}),
        "video": Field(_("Video"), {"analogue": _("Analogue"), "other": _("Other: takes up its width")}),
        "centre_mhz": Field(_("Centre, MHz")),
        "width_mhz": Field(_("Width, MHz")),
    }
    last = last_of_pilot(session, day, pilot, _PILOT_ACTIONS)
    what = f"{pilot.callsign}, {aircraft.name}"
    return Saved(what, set_up_text(aircraft), fields, aircraft.version, last)


def last_of_day(session: Session, day: FieldDay, actions: Iterable[str]) -> Last:
    """Asks the logbook who did one of these last."""
    return lambda: _change(logbook.last_of(session, actions, field_day_id=day.id), day.time_zone)


def last_of_pilot(session: Session, day: FieldDay, pilot: Pilot, actions: Iterable[str]) -> Last:
    """Asks the logbook who did one of these last to this pilot."""

    def ask() -> LastChange | None:
        entries = reversed(logbook.of_actions(session, day.id or 0, actions))
        entry = next((one for one in entries if json.loads(one.data_json).get("pilot_id") == pilot.id), None)
        return _change(entry, day.time_zone)

    return ask


def last_of_club(session: Session, club_id: int, actions: Iterable[str], time_zone: str) -> Last:
    """Asks the logbook who did one of these last to the whole club."""
    return lambda: _change(logbook.last_of(session, actions, club_id=club_id), time_zone)


def _change(entry: LogbookEntry | None, time_zone: str) -> LastChange | None:
    return LastChange(entry.who, entry.at, time_zone) if entry else None
