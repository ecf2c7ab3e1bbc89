"""Rows of the roster as text by field, and back: what forms show, what is read again, what is logged."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import gear, video
from server.services.callsigns import callsign_key
from server.services.faults import FieldFault, FieldsError
from server.services.gear_echo import gear_meanings
from server.services.gear_words import antenna_word, channel_words, power_words
from server.services.roster import COLUMNS, RosterPilot, read_pilot
from server.services.video import VideoKind
from server.storage import logbook
from server.storage.tables import Aircraft, FieldDay, Pilot
from server.wording import short_decimal

PILOT_FIELDS = (
    "callsign",
    "name",
    "station_id",
    "note",
    "adult_present",
    "spotter",
    "apart",
    "together",
    "after",
    "before",
    "heat",
    "pin",
)
"""What belongs to the pilot, not to an aircraft; `adult_present` is "yes" or empty."""

SET_UP_FIELDS = (*gear.FIELDS, *video.FIELDS)
"""What belongs to an aircraft besides its name."""

PRIVATE_FIELDS = frozenset(("name", "station_id", "note", "adult_present"))
"""Never in the logbook, which cannot be changed: these can be deleted."""

YES = "yes"


def plain(typed: Mapping[str, str], fields: tuple[str, ...]) -> dict[str, str]:
    """The fields of a form as they are kept: trimmed, gear in the words that the roster uses."""
    text = {name: (typed.get(name) or "").replace("\r\n", "\n").strip() for name in fields}
    for name, read in (
        ("tunes", channel_words),
        ("receives", channel_words),
        ("pin", channel_words),
        ("power_mw", power_words),
        ("pit_power_mw", power_words),
        ("antenna", antenna_word),
        ("rx_antenna", antenna_word),
    ):
        if name in text:
            text[name] = read(text[name])
    return text


def read_text(
    text: Mapping[str, str], known: Mapping[str, str], faults: Sequence[FieldFault] = ()
) -> tuple[RosterPilot, VideoKind]:
    """A pilot with one aircraft, as read from the text of both.

    known   callsigns of the roster by their key, for the lists of other pilots
    faults  found before, to be told together with what is wrong here

    Raises FieldsError with all faults.
    """
    found = list(faults)
    kind, pilot = VideoKind(), None
    try:
        kind = video.read_video(text)
    except FieldsError as error:
        found += error.field_faults
    try:
        pilot = read_pilot({name: text[name] for name in text if name in COLUMNS}, known)
    except FieldsError as error:
        found += error.field_faults
    if found or pilot is None:
        raise FieldsError(found)
    return pilot, kind


def pilot_text(pilot: Pilot) -> dict[str, str]:
    """A pilot as text by field of PILOT_FIELDS."""
    numbers = {"after": pilot.after_heat, "before": pilot.before_heat, "heat": pilot.heat}
    return {
        "callsign": pilot.callsign,
        "name": pilot.name,
        "station_id": pilot.station_id,
        "note": pilot.note,
        "adult_present": YES if pilot.adult_present else "",
        "spotter": pilot.spotter,
        "apart": pilot.apart,
        "together": pilot.together,
        **{name: "" if number is None else str(number) for name, number in numbers.items()},
        "pin": pilot.pin,
    }


def write_pilot(pilot: Pilot, read: RosterPilot, text: Mapping[str, str]) -> None:
    """Put what was read into a pilot's row; lists of callsigns are kept as the roster spells them."""
    pilot.callsign, pilot.callsign_key = read.callsign, callsign_key(read.callsign)
    pilot.name, pilot.station_id, pilot.note = text["name"], text["station_id"], text["note"]
    pilot.adult_present = text["adult_present"] == YES
    pilot.spotter = read.spotter or ""
    pilot.apart, pilot.together = ", ".join(read.apart), ", ".join(read.together)
    pilot.after_heat, pilot.before_heat, pilot.heat = read.after, read.before, read.heat
    pilot.pin = text["pin"]


def gear_text(aircraft: Aircraft) -> dict[str, str]:
    """A video set-up as text by field of `gear.FIELDS`."""
    return {
        "tunes": aircraft.tunes,
        "receives": aircraft.receives,
        "power_mw": aircraft.power_mw,
        "pit_power_mw": _figure(aircraft.pit_power_mw),
        "antenna": aircraft.antenna,
        "rx_antenna": aircraft.rx_antenna,
        "antenna_gain_dbi": _figure(aircraft.antenna_gain_dbi or None),
    }


def set_up_text(aircraft: Aircraft) -> dict[str, str]:
    """An aircraft as text by field of SET_UP_FIELDS."""
    return {
        **gear_text(aircraft),
        "video": aircraft.video,
        "centre_mhz": _figure(aircraft.centre_mhz),
        "width_mhz": _figure(aircraft.width_mhz),
    }


def write_set_up(aircraft: Aircraft, read: RosterPilot, kind: VideoKind, text: Mapping[str, str]) -> None:
    """Put what was read into an aircraft's row; channels and powers stay in the words typed."""
    aircraft.tunes, aircraft.receives, aircraft.power_mw = text["tunes"], text["receives"], text["power_mw"]
    aircraft.pit_power_mw = read.setup.pit_power_mw
    aircraft.antenna = read.setup.antenna
    aircraft.rx_antenna = text["rx_antenna"] and read.setup.rx_antenna
    aircraft.antenna_gain_dbi = read.setup.gain_dbi
    aircraft.video, aircraft.centre_mhz, aircraft.width_mhz = kind.kind, kind.centre_mhz, kind.width_mhz


def gear_words(text: Mapping[str, str]) -> str:
    """A set-up in one line: "bands A B E F R, 40 channels; 25, 200 mW; right-hand antenna"."""
    return "; ".join(meaning.words for meaning in gear_meanings(text))


def log(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    who: str,
    action: str,
    text: str,
    facts: Mapping[str, Any],
    at: datetime,
) -> None:
    """The logbook's row of a change to the roster, after everything that it tells of has its id."""
    pilot.updated_at = at
    session.flush()
    logbook.append(session, day.id, who, action, text, {"pilot_id": pilot.id, **facts}, at)


def _figure(value: float | None) -> str:
    return "" if value is None else short_decimal(value)
