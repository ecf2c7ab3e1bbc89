"""A club in the middle of its day, so that what is sent to it meets something: heats, turns, reports, old days."""

from pathlib import Path

from sqlmodel import Session

from server.services import clearances, down_transmitters, open_flying, pilots, trouble, turns
from server.storage.tables import FieldDay
from tests.factories import NOW, make_aircraft, make_day, make_pilot
from tests.services.called_days import call_heat, press
from tests.services.changed_days import id_of, published_day

IN_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
"""Where a data file waits for no disk, on systems that have such a place: nothing here is about durability."""

LINK = "private-link-of-wren"
WITH_HEATS, WITH_TURNS, ARCHIVED, EMPTY = "tern", "gull", "knot", "dove"
CODES = (WITH_HEATS, WITH_TURNS, ARCHIVED)


def fill(session: Session) -> None:
    """Four days: a heat that powers up, open flying, one put away, one without pilots."""
    _with_heats(session)
    _with_turns(session)
    make_pilot(session, make_day(session, code=ARCHIVED, archived_at=NOW), "Coot")
    make_day(session, code=EMPTY)


def _with_heats(session: Session) -> FieldDay:
    day = published_day(session, code=WITH_HEATS, base_url="http://localhost:8000")
    wren = pilots.pilot_of(session, day, id_of(session, day, "Wren"))
    wren.link_token = LINK
    make_aircraft(session, wren, "R")
    call_heat(session, day, 1)
    press(session, day, "Wren", "picture is clear")
    trouble.report(session, day, wren, {"symptom": "lines"}, "pilot", NOW)
    rook, quill = (pilots.pilot_of(session, day, id_of(session, day, name)) for name in ("Rook", "Quill"))
    clearances.ask(session, day, rook, "bench check", "desk", NOW)
    down_transmitters.report(session, day, quill, NOW, (5695, 25.0), "desk")
    return day


def _with_turns(session: Session) -> None:
    day = make_day(session, code=WITH_TURNS, aircraft=2, responsibility="The club's chair answers for it.")
    open_flying.open_up(session, day, False, "director", NOW)
    for callsign in ("Umber", "Vesper", "Willow"):
        turns.ask(session, day, make_pilot(session, day, callsign), "pilot", NOW)
