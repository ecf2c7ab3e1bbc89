"""The roster as the desk sees it: one row a pilot, counted, filtered, with what is doubtful marked."""

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256

from sqlmodel import Session

from server.services import lineup, provisional
from server.services.callsigns import callsign_key
from server.services.gear_echo import Meaning, gear_meanings
from server.services.provisional import ChannelToSet
from server.services.roster_rows import gear_text, set_up_text
from server.services.video import ANALOGUE
from server.storage import pilots
from server.storage.session import Database
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN, Aircraft, FieldDay, Pilot
from server.wording import marked

NOT_KNOWN = marked("gear not known")
MARK_LENGTH = 16
FILTERS = (CHECKED_IN, WITHDRAWN, NO_SHOW, NOT_KNOWN)


@dataclass(frozen=True)
class RosterRow:
    """One pilot; `flying` and its gear are those of the aircraft that flies today."""

    pilot: Pilot
    flying: Aircraft
    spares: int
    gear: tuple[Meaning, ...]
    channel: ChannelToSet

    @property
    def is_here(self) -> bool:
        return self.pilot.state == CHECKED_IN

    @property
    def is_assumed(self) -> bool:
        return any(meaning.is_assumed for meaning in self.gear)

    @property
    def is_other_video(self) -> bool:
        return self.flying.video != ANALOGUE


@dataclass(frozen=True)
class RosterTable:
    """The rows that pass the filter, by callsign; the counts are of everybody.

    order  of what is shown, to ask later whether something changed
    mark   of all rows as they are shown, whatever is filtered: the same as long as the table is
    """

    rows: tuple[RosterRow, ...]
    counts: dict[str, int]
    total: int
    order: int
    mark: str


def roster_table(
    session: Session, day: FieldDay, search: str = "", only: str = "", kept: Pilot | None = None
) -> RosterTable:
    """The roster of a day.

    search  part of a callsign or a name; empty: everybody
    only    one of FILTERS; anything else: everybody
    kept    stays in sight whatever is filtered: who was just changed, with the way to undo it
    """
    assert day.id is not None
    rows = _rows(session, day)
    counts = {name: sum(_passes(row, name) for row in rows) for name in FILTERS}
    wanted = callsign_key(search)
    found = [
        row
        for row in rows
        if (_is_named(row, wanted) and (only not in FILTERS or _passes(row, only))) or row.pilot is kept
    ]
    return RosterTable(tuple(found), counts, len(rows), Database.order(session, day.id), _mark(rows))


def roster_row(session: Session, day: FieldDay, pilot: Pilot) -> RosterRow:
    assert pilot.id is not None
    published_mhz = lineup.published_channels(session, day)
    return _row(day, pilot, pilots.aircraft_of(session, pilot.id), published_mhz.get(pilot.id))


def _mark(rows: Iterable[RosterRow]) -> str:
    shown = [
        (
            *(row.pilot.id, row.pilot.callsign, row.pilot.name, row.pilot.state, row.channel),
            *(row.spares, row.flying.id, row.flying.name, set_up_text(row.flying)),
        )
        for row in rows
    ]
    return sha256(repr(shown).encode()).hexdigest()[:MARK_LENGTH]


def _rows(session: Session, day: FieldDay) -> list[RosterRow]:
    assert day.id is not None
    aircraft = pilots.aircraft_of_day(session, day.id)
    published_mhz = lineup.published_channels(session, day)
    rows = [
        _row(day, pilot, aircraft[pilot.id or 0], published_mhz.get(pilot.id or 0))
        for pilot in pilots.of_day(session, day.id)
    ]
    return sorted(rows, key=lambda row: row.pilot.callsign_key)


def _row(day: FieldDay, pilot: Pilot, own: Iterable[Aircraft], published_mhz: int | None) -> RosterRow:
    own = list(own)
    flying = lineup.flying_of(pilot, own) or own[0]
    channel = provisional.channel_to_set(day, pilot, flying, published_mhz)
    return RosterRow(pilot, flying, len(own) - 1, gear_meanings(gear_text(flying)), channel)


def _passes(row: RosterRow, only: str) -> bool:
    return row.is_assumed and row.is_here if only == NOT_KNOWN else row.pilot.state == only


def _is_named(row: RosterRow, wanted: str) -> bool:
    return wanted in row.pilot.callsign_key or wanted in callsign_key(row.pilot.name)
