"""What else is on the air at the field: noted when it is found, and ended when it is gone.

A channel found occupied, the field's own Wi-Fi, a neighbour's camera: each counts at every receiver as a flat
block of its level, in every heat ahead. Other video gear of a pilot does not share the air with the heats; where
the director says that it does, it counts as a block too, as loud as it is at the near distance.
"""

from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from server.radio.interference import Station, unwanted_level_dbm
from server.radio.outside import OutsideSignal as Heard
from server.radio.site import Site
from server.services import days, lineup
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.outside_lines import OutsideLineError, block_words, level_words, read_line
from server.services.roles import acting
from server.services.video import OTHER
from server.storage import logbook, pilots
from server.storage import outside_signals as stored
from server.storage.tables import CHECKED_IN, FieldDay, OutsideSignal, Pilot
from server.wording import gettext as _
from server.wording import short_decimal

MOST_SIGNALS = 20


@dataclass(frozen=True)
class SignalView:
    """One signal as a page shows it; `words` say where and how strong it is."""

    id: int
    words: str
    note: str
    since: datetime


@dataclass(frozen=True)
class OtherVideo:
    """A pilot's video that is not analogue and does not share the air with the heats yet."""

    pilot_id: int
    callsign: str
    words: str


def site_on(session: Session, day: FieldDay) -> Site:
    """The day's site with what is on the air there now."""
    assert day.id is not None
    site = days.site_of(day)
    names = {pilot.id: pilot.callsign for pilot in pilots.of_day(session, day.id)}
    heard = tuple(_heard(one, site, names) for one in stored.on_the_air(session, day.id))
    return replace(site, outside=heard) if heard else site


def views(session: Session, day: FieldDay) -> list[SignalView]:
    """What is on the air, the oldest first."""
    assert day.id is not None
    rows = stored.on_the_air(session, day.id)
    heard = site_on(session, day).outside
    return [
        SignalView(
            row.id or 0,
            f"{block_words(one.centre_mhz, one.width_mhz)}, {level_words(round(one.level_dbm))}",
            row.note,
            row.since,
        )
        for row, one in zip(rows, heard, strict=True)
    ]


def other_video(session: Session, day: FieldDay) -> list[OtherVideo]:
    """Pilots who are checked in with other video that does not share the air with the heats."""
    assert day.id is not None
    sharing = {one.pilot_id for one in stored.on_the_air(session, day.id)}
    aircraft = pilots.aircraft_of_day(session, day.id)
    found = []
    for pilot in pilots.of_day(session, day.id, [CHECKED_IN]):
        flying = lineup.flying_of(pilot, aircraft.get(pilot.id or 0, []))
        if flying and flying.video == OTHER and pilot.id not in sharing:
            words = block_words(flying.centre_mhz or 0.0, flying.width_mhz or 0.0)
            found.append(OtherVideo(pilot.id or 0, pilot.callsign, words))
    return found


def note(session: Session, day: FieldDay, text: str, at: datetime) -> tuple[OutsideSignal, str]:
    """Note a signal from a line as in `outside_lines`; returns its row and its sentence.

    Raises InputError for a line that means none, RefusedError where too many are noted.
    """
    try:
        line = read_line(text)
    except OutsideLineError as error:
        raise InputError({"signal": f"{error.problem}: {error.cure}."}) from None
    row = OutsideSignal(
        field_day_id=day.id or 0,
        centre_mhz=line.centre_mhz,
        width_mhz=line.width_mhz,
        level_dbm=line.level_dbm,
        note=line.note,
        since=at,
    )
    where = block_words(line.centre_mhz, line.width_mhz)
    level = level_words(line.level_dbm)
    if line.note:
        text = _("On the air at %(where)s (%(note)s), %(level)s.", where=where, note=line.note, level=level)
    else:
        text = _("On the air at %(where)s, %(level)s.", where=where, level=level)
    return _add(session, day, row, text, at)


def share(session: Session, day: FieldDay, pilot: Pilot, at: datetime) -> tuple[OutsideSignal, str]:
    """Note that a pilot's other video shares the air with the heats. Raises RefusedError."""
    offered = {one.pilot_id for one in other_video(session, day)}
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id or 0))
    if pilot.id not in offered or flying is None:
        raise RefusedError(
            _(
                "%(callsign)s flies no other video that is left out of the heats: look at Check-in.",
                callsign=pilot.callsign,
            )
        )
    setup = lineup.setup_of(flying)
    row = OutsideSignal(
        field_day_id=day.id or 0,
        pilot_id=pilot.id,
        centre_mhz=flying.centre_mhz or 0.0,
        width_mhz=flying.width_mhz or 0.0,
        power_mw=max(setup.power_steps_mw),
        antenna_gain_dbi=setup.gain_dbi,
        note=_("%(callsign)s's other video", callsign=pilot.callsign),
        since=at,
    )
    where = block_words(row.centre_mhz, row.width_mhz)
    text = _(
        "%(callsign)s's other video shares the air with the heats: %(where)s.",
        callsign=pilot.callsign,
        where=where,
    )
    return _add(session, day, row, text, at)


def end(session: Session, day: FieldDay, signal_id: int, at: datetime) -> str:
    """Note that a signal is gone; returns the sentence. Raises OvertakenError."""
    row = next((one for one in stored.on_the_air(session, day.id or 0) if one.id == signal_id), None)
    if row is None:
        raise OvertakenError(_("This signal is not on the list any more: somebody noted that it is gone."))
    row.ended_at = at
    session.add(row)
    session.flush()
    what = row.note or _("The outside signal")
    text = _(
        "%(what)s at %(centre)s MHz is gone: it counts no more.",
        what=what,
        centre=short_decimal(row.centre_mhz),
    )
    logbook.append(session, day.id, acting(session), "outside signal gone", text, {"signal_id": row.id}, at)
    return text


def _add(
    session: Session, day: FieldDay, row: OutsideSignal, text: str, at: datetime
) -> tuple[OutsideSignal, str]:
    if len(stored.on_the_air(session, row.field_day_id)) >= MOST_SIGNALS:
        raise RefusedError(
            _(
                "%(most)s signals are noted already. End those that are gone first.",
                most=MOST_SIGNALS,
            )
        )
    added = stored.add(session, row)
    facts = {
        "signal_id": added.id,
        "centre_mhz": row.centre_mhz,
        "width_mhz": row.width_mhz,
        "level_dbm": row.level_dbm,
        "pilot_id": row.pilot_id,
    }
    logbook.append(session, day.id, acting(session), "outside signal", text, facts, at)
    return added, text


def _heard(row: OutsideSignal, site: Site, names: dict[int | None, str]) -> Heard:
    """A stored signal as the radio model takes it; somebody's other video is as loud as it is nearby."""
    if row.level_dbm is not None:
        return Heard(row.centre_mhz, row.width_mhz, row.level_dbm)
    nearby = Station("", round(row.centre_mhz), row.power_mw or 0.0, gain_dbi=row.antenna_gain_dbi)
    level_dbm = float(unwanted_level_dbm([nearby], site, site.near_m)[0, 0])
    name = _(
        "%(names)s's other video at %(centre)s MHz",
        names=names.get(row.pilot_id, "somebody"),
        centre=short_decimal(row.centre_mhz),
    )
    return Heard(row.centre_mhz, row.width_mhz, level_dbm, name)
