"""The desk's line against the roster: what it would do, and doing it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.radio.errors import TuningError
from server.services import lineup, pilots, provisional
from server.services.callsigns import callsign_key
from server.services.desk_line import DeskLine, read_line
from server.services.errors import RefusedError
from server.services.faults import FieldsError
from server.services.gear_echo import Meaning, antenna_meaning, channels_meaning, power_meaning
from server.services.roster_rows import gear_text
from server.storage import pilots as stored
from server.storage.tables import CHECKED_IN, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

_TOLD_AS_TYPED = {
    "spotter": marked("spotter %(typed)s"),
    "pin": marked("pinned to %(typed)s"),
    "apart": marked("apart from %(typed)s"),
    "together": marked("together with %(typed)s"),
    "after": marked("after heat %(typed)s"),
    "before": marked("before heat %(typed)s"),
    "heat": marked("in heat %(typed)s"),
    "pit_power_mw": marked("pit power, mW: %(typed)s"),
    "station_id": marked("station %(typed)s"),
    "name": marked("name %(typed)s"),
    "note": marked("note %(typed)s"),
}


@dataclass(frozen=True)
class DeskEcho:
    """What was understood of a line, what Enter would do, and a sentence for everything that is in its way."""

    callsign: str
    meanings: tuple[Meaning, ...]
    faults: tuple[str, ...]
    enter: str = field(default_factory=lambda: _("adds"))


def understand(session: Session, day: FieldDay, text: str) -> DeskEcho:
    """The echo while a line is typed: nothing is changed."""
    line = _read(session, day, text)
    if pilot := _called(session, day, line):
        return DeskEcho(pilot.callsign, (Meaning(_("is on the roster")),), (), _("says the channel"))
    return DeskEcho(line.typed.get("callsign", ""), _meanings(line.typed), _faults(session, day, line))


def read_into_fields(session: Session, day: FieldDay, text: str) -> dict[str, str]:
    """What a line says as text by field, to go on with in a form."""
    return dict(_read(session, day, text).typed)


def add_line(session: Session, day: FieldDay, text: str, who: str, at: datetime) -> Pilot:
    """Add the pilot of a line; a callsign of the roster alone calls that pilot up, who gets a channel if need be.

    Raises FieldsError with all faults, RefusedError where nobody can be added.
    """
    line = _read(session, day, text)
    if pilot := _called(session, day, line):
        if provisional.to_set(session, day, pilot).mhz is None:
            pilots.give_channel(session, day, pilot, who, at)
        return pilot
    if line.faults:
        raise FieldsError(line.faults)
    return pilots.add(session, day, line.typed, who, at)


def _read(session: Session, day: FieldDay, text: str) -> DeskLine:
    assert day.id is not None
    roster = stored.of_day(session, day.id)
    by_key = {pilot.callsign_key: pilot for pilot in roster}

    def gear_of(callsign: str) -> Mapping[str, str] | None:
        pilot = by_key.get(callsign_key(callsign))
        flying = pilot and lineup.flying_of(pilot, stored.aircraft_of(session, pilot.id or 0))
        return gear_text(flying) if flying else None

    return read_line(text, gear_of, roster[-1].callsign if roster else None)


def _called(session: Session, day: FieldDay, line: DeskLine) -> Pilot | None:
    """Who is checked in and was named with nothing else."""
    assert day.id is not None
    if not line.is_callsign_alone:
        return None
    pilot = stored.by_callsign_key(session, day.id, callsign_key(line.typed["callsign"]))
    return pilot if pilot and pilot.state == CHECKED_IN else None


def _faults(session: Session, day: FieldDay, line: DeskLine) -> tuple[str, ...]:
    try:
        if line.faults:
            raise FieldsError(line.faults)
        pilots.read_new(session, day, line.typed)
    except FieldsError as error:
        return tuple(error.faults.values())
    except RefusedError as error:
        return (str(error),)
    return ()


def _meanings(typed: Mapping[str, str]) -> tuple[Meaning, ...]:
    parts: list[tuple[str, Callable[[], Meaning]]] = [
        ("tunes", lambda: channels_meaning(typed["tunes"])),
        (
            "receives",
            lambda: Meaning(_("goggles %(channels)s", channels=channels_meaning(typed["receives"]).words)),
        ),
        ("power_mw", lambda: power_meaning(typed["power_mw"])),
        ("antenna", lambda: antenna_meaning(typed["antenna"], typed.get("rx_antenna", ""))),
        *((name, _as_typed(name, typed)) for name in _TOLD_AS_TYPED),
    ]
    found = []
    for name, meaning in parts:
        if typed.get(name):
            try:
                found.append(meaning())
            except TuningError:
                continue  # told among the faults
    return tuple(found)


def _as_typed(name: str, typed: Mapping[str, str]) -> Callable[[], Meaning]:
    return lambda: Meaning(_(_TOLD_AS_TYPED[name], typed=typed[name]))
