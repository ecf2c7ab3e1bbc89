"""A day on which everything happened once, so that every table has a row of it."""

from sqlmodel import Session

from server.services import (
    bench_checks,
    clearances,
    days,
    down_transmitters,
    open_flying,
    outside_signals,
    paper_choices,
    pilots,
    trouble,
    turns,
)
from server.services.lineup import gear_mark
from server.storage import pilots as stored_pilots
from server.storage.tables import FieldDay, Pilot
from tests.factories import FIRST_CLUB, NOW, make_picture_check
from tests.services.called_days import call_heat, released, step
from tests.services.changed_days import happen, publish
from tests.services.planned_days import plan_at_once

CREW: tuple[dict[str, str], ...] = (
    {"callsign": "Otter"},
    {
        "callsign": "Zaunkönig",
        "name": "Ida Example",
        "station_id": "EI0EXAMPLE",
        "note": "Zaunkönig likes R2",
    },
    {"callsign": "Rook", "apart": "Otter", "spotter": "Zaunkönig"},
    {"callsign": "Quill", "pin": "R2", "together": "Rook"},
)
FIRST = "Zaunkönig"


def full_day(session: Session) -> FieldDay:
    """Four pilots in two heats of two: the first flown with trouble and a crash, the second up now."""
    typed = {"name": "Tern Meadow club day", "date": "2026-05-16", "time_zone": "Europe/Dublin", "code": ""}
    day = days.create_day(session, FIRST_CLUB, typed, NOW)
    day.aircraft, day.responsibility = 2, "The club's chair answers for it."
    session.flush()
    for crew in CREW:
        pilots.add(session, day, {"tunes": "A B E F R", "power_mw": "25 200"} | crew, "desk", NOW)
    first = pilot_of(session, day, FIRST)
    plan_at_once(session, day)
    publish(session, day)
    _look_at(session, day, first)
    _fly(session, day, first)
    outside_signals.note(session, day, "5745 20 -70 camera van", NOW)
    paper_choices.keep(session, day, "letter", ["heat"])
    happen(session, day, "noisy", mhz="5740")
    call_heat(session, day, 2)
    session.flush()
    return day


def pilot_of(session: Session, day: FieldDay, callsign: str) -> Pilot:
    found = stored_pilots.by_callsign_key(session, day.id or 0, callsign.casefold())
    assert found is not None
    return found


def _look_at(session: Session, day: FieldDay, first: Pilot) -> None:
    mark = gear_mark(stored_pilots.aircraft_of(session, first.id or 0)[0])
    bench_checks.tick(session, day, first, "failsafe", mark, "desk", NOW)
    make_picture_check(session, first, first.provisional_mhz or 5658)
    wish = clearances.ask(session, day, first, "bench check", "desk", NOW)
    clearances.is_on(session, day, wish.id or 0, wish.seen, "pilot", NOW)
    clearances.is_off(session, day, wish.id or 0, wish.seen, "pilot", NOW)


def _fly(session: Session, day: FieldDay, first: Pilot) -> None:
    open_flying.open_up(session, day, False, "director", NOW)
    for pilot in (pilot_of(session, day, "Otter"), first):
        turn = turns.ask(session, day, pilot, "pilot", NOW)
        turns.act(session, day, turn, turn.seen, "off", "pilot", NOW)
    open_flying.close(session, day, "director", NOW)
    released(session, day, 1)
    trouble.report(session, day, first, {"symptom": "lines", "near": "Otter"}, "pilot", NOW)
    step(session, day, "land")
    step(session, day, "all landed")
    step(session, day, "end")
    down = down_transmitters.report(session, day, first, NOW)
    down_transmitters.found(session, day, down.id or 0, NOW)
