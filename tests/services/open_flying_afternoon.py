"""A scripted afternoon of open flying: 20 pilots of mixed gear, three hours, every decision from one seed.

Pilots ask, set, power up, fly and land, some of them late; the desk corrects gear, takes channels out of use and
brings them back, seats and unseats by hand, undoes; pilots leave and come back. After every step the air is judged
by the radio model, which knows nothing of how channels were chosen, and the queue by who asked when.
"""

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from sqlmodel import Session

from server.radio.grade import picture_grade
from server.radio.interference import Station, heat_margins
from server.services import days, open_flying, pilots, site, turns
from server.services.errors import RefusedError
from server.services.site_fields import fields_of
from server.services.stale_forms import Form
from server.services.turn_lineup import turn_lineup
from server.services.turn_settling import settle
from server.storage import logbook
from server.storage import pilots as stored_pilots
from server.storage import turns as stored
from server.storage.session import Database
from server.storage.tables import FLYING, LANDING, POWER_UP, READY, WAITING, FieldDay, Turn
from tests.factories import FIRST_CLUB

START = datetime(2026, 5, 16, 12, 0, tzinfo=UTC)
STEP = timedelta(minutes=1)
STEPS = 180
"""Three hours."""

_SITE = {"aircraft": "6", "rules": "tern-meadow"}

_ALL = {"tunes": "A B E F R", "power_mw": "25 200 600"}
ROSTER: tuple[dict[str, str], ...] = (
    _ALL | {"callsign": "Wren"},
    _ALL | {"callsign": "Biscuit", "power_mw": "25 100 200"},
    _ALL | {"callsign": "Juniper"},
    {"callsign": "Sorrel", "tunes": "R", "power_mw": "25 200 600"},
    _ALL | {"callsign": "Magpie", "power_mw": "25 400"},
    _ALL | {"callsign": "Otter"},
    {"callsign": "Pascal", "tunes": "A B E F", "power_mw": "25 200"},
    {"callsign": "Quill", "tunes": "5:7", "power_mw": "25"},
    {"callsign": "Rook", "tunes": "R", "power_mw": "25 200"},
    _ALL | {"callsign": "Saffron", "antenna": "lhcp"},
    _ALL | {"callsign": "Teasel", "power_mw": "25"},
    {"callsign": "Umber", "tunes": "F4", "power_mw": "25"},
    _ALL | {"callsign": "Vesper", "spotter": "Willow"},
    _ALL | {"callsign": "Willow", "spotter": "Vesper"},
    {"callsign": "Yarrow", "tunes": "R", "power_mw": "200 600"},
    _ALL | {"callsign": "Zephyr", "power_mw": "25 100 200 600"},
    {"callsign": "Bramble", "tunes": "A B E F", "power_mw": "400"},
    _ALL | {"callsign": "Coot", "power_mw": "25 200"},
    _ALL | {"callsign": "Heron", "power_mw": "25", "apart": "Coot"},
    {"callsign": "Plover", "tunes": "F4 F5", "power_mw": "25 200"},
)


@dataclass
class Afternoon:
    """What was seen.

    told            every line of the logbook, in order
    lowest_grade    the worst picture of anybody with a place at any step
    most_up         places held at once
    most_passed     how often anybody was passed over for want of a channel
    waits_minutes   from asking to the place, of every turn that got one
    """

    told: list[str] = field(default_factory=list)
    lowest_grade: float = 5.0
    most_up: int = 0
    most_passed: int = 0
    waits_minutes: list[float] = field(default_factory=list)
    flights: int = 0
    flights_by_pilot: dict[str, int] = field(default_factory=dict)
    steps_with_queue: int = 0
    places_free_with_queue: int = 0
    nudges: int = 0
    refused: int = 0


def fly_the_afternoon(database: Database, seed: int, steps: int = STEPS) -> Afternoon:
    """Play it on an empty database."""
    with database.write() as session:
        day = _open_the_day(session)
    script = _Script(database, day.code, seed)
    for step in range(steps):
        script.step(START + step * STEP)
    return script.end()


def _open_the_day(session: Session) -> FieldDay:
    day = days.create_day(
        session,
        FIRST_CLUB,
        {"name": "Tern Meadow club day", "date": "2026-05-16", "time_zone": "Europe/Dublin", "code": "tern"},
        START,
    )
    before = fields_of(day)
    site.save(session, day, Form(before | _SITE, before, day.version), START)
    for pilot in ROSTER:
        pilots.add(session, day, {"antenna": "rhcp", **pilot}, "desk", START)
    open_flying.open_up(session, day, True, "director", START)
    return day


class _Script:
    def __init__(self, database: Database, code: str, seed: int) -> None:
        self._database, self._code = database, code
        self._dice = random.Random(seed)
        self._seen = Afternoon()
        self._passed: dict[int, int] = {}
        self._before: list[Turn] = []

    def step(self, at: datetime) -> None:
        """One press at a time, each in a transaction of its own, as from many phones."""
        with self._database.read() as session:
            roster = [one.id or 0 for one in stored_pilots.of_day(session, self._day(session).id or 0)]
        for pilot_id in self._dice.sample(roster, 14):
            self._press(pilot_id, at)
        if self._dice.random() < 0.4:
            self._desk(at)
        with self._database.write() as session:
            settle(session, self._day(session), at)
        self._judge()

    def end(self) -> Afternoon:
        with self._database.read() as session:
            day = self._day(session)
            entries = logbook.newest_first(session, day.id or 0, 100_000)
            ended = stored.last_ended(session, day.id or 0, 100_000)
            callsigns = {one.id: one.callsign for one in stored_pilots.of_day(session, day.id or 0)}
        seen = self._seen
        seen.told = [f"{entry.at:%H:%M:%S} {entry.who}: {entry.text}" for entry in reversed(entries)]
        seen.nudges = sum(entry.action == "nudged" for entry in entries)
        flown = [turn for turn in ended if turn.picture_at is not None]
        seen.flights = len(flown)
        for turn in flown:
            name = callsigns[turn.pilot_id]
            seen.flights_by_pilot[name] = seen.flights_by_pilot.get(name, 0) + 1
        seen.waits_minutes = [
            (turn.seated_at - turn.asked_at).total_seconds() / 60
            for turn in ended
            if turn.seated_at is not None
        ]
        return seen

    def _day(self, session: Session) -> FieldDay:
        return days.day_with(session, self._code)

    def _press(self, pilot_id: int, at: datetime) -> None:
        with self._database.write() as session:
            day = self._day(session)
            turn = stored.live_of(session, pilot_id)
            pilot = pilots.pilot_of(session, day, pilot_id)
            luck = self._dice.random()
            try:
                if turn is None:
                    if luck < 0.35:
                        turns.ask(session, day, pilot, "pilot", at)
                else:
                    self._go_on(session, day, turn, luck, at)
            except RefusedError:
                self._seen.refused += 1
        self._note_who_passed()

    def _go_on(self, session: Session, day: FieldDay, turn: Turn, luck: float, at: datetime) -> None:
        name = None
        if turn.stage == WAITING:
            name = "off" if luck < 0.01 else None
        elif turn.stage == READY:
            name = "off" if luck < 0.03 else "set" if turn.confirmed_at is None and luck < 0.8 else None
        elif turn.stage == POWER_UP:
            name = "clear" if luck < 0.9 else None
        elif turn.stage in (FLYING, LANDING):
            assert turn.picture_at is not None or turn.stage == LANDING
            minutes = (at - (turn.picture_at or at)).total_seconds() / 60
            name = "off" if turn.stage == LANDING or (minutes > 3 and luck < 0.3) else None
        if name:
            turns.act(session, day, turn, turn.seen, name, "pilot", at)

    def _desk(self, at: datetime) -> None:
        """The director: mostly lets people power up, now and then does everything else."""
        with self._database.write() as session:
            day = self._day(session)
            live = stored.live(session, day.id or 0)
            what = self._dice.choice(["up"] * 4 + ["land", "seat", "undo", "ban", "ban", "gear", "leave"])
            try:
                self._decide(session, day, live, what, at)
            except RefusedError:
                self._seen.refused += 1
        self._note_who_passed(by_hand=what in ("seat", "undo"))

    def _decide(self, session: Session, day: FieldDay, live: list[Turn], what: str, at: datetime) -> None:
        wanted = {
            "up": lambda turn: turn.stage == READY and turn.confirmed_at is not None,
            "land": lambda turn: turn.stage == FLYING,
            "seat": lambda turn: turn.stage == WAITING,
        }
        if what in wanted:
            fitting = [turn for turn in live if wanted[what](turn)]
            if fitting:
                turn = self._dice.choice(fitting)
                turns.act(session, day, turn, turn.seen, what, "director", at)
        elif what == "undo":
            for turn in stored.last_ended(session, day.id or 0, 1):
                turns.restore(session, day, turn, "director", at)
        elif what == "ban":
            before = fields_of(day)
            getting_ready = [f"{turn.mhz}" for turn in live if turn.stage == READY]
            bans = self._dice.choice(["", "5800 5880", *getting_ready])
            site.save(session, day, Form(before | {"bans": bans}, before, day.version), at)
        elif what == "gear":
            self._correct_gear(session, day, at)
        else:
            self._leave_or_come_back(session, day, at)

    def _correct_gear(self, session: Session, day: FieldDay, at: datetime) -> None:
        pilot = self._dice.choice(stored_pilots.of_day(session, day.id or 0))
        # On a bench somebody finds that the set tunes other channels; its antenna and power stay as they were.
        (main,) = stored_pilots.aircraft_of(session, pilot.id or 0)
        main.tunes = self._dice.choice(["A B E F R", "R", "A B E F"]) if len(main.tunes) > 3 else main.tunes
        session.flush()
        logbook.append(session, day.id, "desk", "set-up changed", f"{pilot.callsign}: {main.tunes}", {}, at)

    def _leave_or_come_back(self, session: Session, day: FieldDay, at: datetime) -> None:
        pilot = self._dice.choice(stored_pilots.of_day(session, day.id or 0))
        state = "checked in" if pilot.state != "checked in" else "withdrawn"
        pilots.set_state(session, day, pilot, state, "desk", at)

    def _note_who_passed(self, by_hand: bool = False) -> None:
        """Count for everybody who waits for want of a channel the later ones who got a place just now."""
        with self._database.read() as session:
            live = stored.live(session, self._day(session).id or 0)
        waited = {turn.id for turn in self._before if turn.stage == WAITING}
        known = {turn.id for turn in self._before}
        seated = [
            turn.id or 0
            for turn in live
            if turn.stage != WAITING and (turn.id in waited or turn.id not in known) and turn.seated_at
        ]
        for turn in live if not by_hand else ():
            if turn.stage == WAITING and turn.id in waited and _waits_for_a_channel(turn):
                self._passed[turn.id or 0] = self._passed.get(turn.id or 0, 0) + sum(
                    one > (turn.id or 0) for one in seated
                )
        self._seen.most_passed = max([self._seen.most_passed, *self._passed.values()])
        self._before = live

    def _judge(self) -> None:
        self._note_who_passed()
        with self._database.read() as session:
            day = self._day(session)
            live = stored.live(session, day.id or 0)
            lineup = turn_lineup(session, day, live)
            site_today = days.site_of(day)
        seated = [turn for turn in live if turn.stage != WAITING]
        stations = [
            Station(
                lineup.callsign(turn),
                turn.mhz or 0,
                turn.power_mw or 0.0,
                lineup.planned[turn.pilot_id].antenna,
                lineup.planned[turn.pilot_id].rx_antenna,
                lineup.planned[turn.pilot_id].gain_dbi,
            )
            for turn in seated
        ]
        for slot in heat_margins(stations, site_today).slots if stations else ():
            self._seen.lowest_grade = min(self._seen.lowest_grade, picture_grade(slot.margin_db))
        self._seen.most_up = max(self._seen.most_up, len(seated))
        if len(seated) < len(live):
            self._seen.steps_with_queue += 1
            self._seen.places_free_with_queue += day.aircraft - len(seated)


def _waits_for_a_channel(turn: Turn) -> bool:
    """Neither for a person, nor without any channel today."""
    return turn.why.startswith(("Every channel", "One more now", "As many")) or "was passed over" in turn.why
