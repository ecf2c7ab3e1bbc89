"""The screens of Bandstand, days in every state to fill them with, and a server that has them."""

import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime

from playwright.sync_api import Page
from sqlmodel import Session

from server.radio.channels import labels_at
from server.services import demo, flight_line, open_flying, outside_signals, trouble, turns
from server.services.days import day_with
from server.services.pilots import pilot_of
from server.services.roles import ORGANIZER
from server.storage import logbook, published_plans
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web import looks
from server.web.dependencies import COOKIE
from tests.browser.field_server import FieldServer
from tests.factories import make_day, make_pilot, make_signed_in
from tests.services.called_days import call_heat, released
from tests.services.changed_days import id_of, published_day
from tests.services.planned_days import SETTINGS

NOW = datetime.now(UTC)
TOKEN = "token-of-the-director"

DIRECTOR = (
    "/days",
    "/days/{code}/check-in",
    "/days/{code}/bench",
    "/days/{code}/import",
    "/days/{code}/plan",
    "/days/{code}/line",
    "/days/{code}/line/trouble",
    "/days/{code}/open-flying",
    "/days/{code}/heat-sheet",
    "/days/{code}/paper",
    "/days/{code}/site",
    "/days/{code}/logbook",
)
PUBLIC = ("/board/{code}", "/join/{code}")
LINE = ("/days/{code}/check-in", "/days/{code}/line", "/days/{code}/line/trouble", "/days/{code}/open-flying")
ONE_PILOT = ("/days/{code}/pilots/{pilot}", "/days/{code}/pilots/{pilot}/bench", "/slot/{token}")
OF_A_PLAN = ("/days/{code}/plan?spectrum=1", "/days/{code}/plan/1", "/days/{code}/heat-sheet?by=channel")
ELSEWHERE = ("/patterns", "/guide", "/people", "/sign-in", "/days/none/plan", "/slot/none")
EVERY_SCREEN = (*DIRECTOR, *PUBLIC, *ONE_PILOT, *OF_A_PLAN, *ELSEWHERE)

# A menu that lies over its neighbours is judged on the phone, where it does not.
OPEN_ALL = """
const closed = innerWidth > 760 ? "details:not(.more)" : "details";
for (const one of document.querySelectorAll(closed)) one.open = true;
"""


class Field:
    """A server with the demonstration day, and the director's sign-in."""

    def __init__(self, server: FieldServer) -> None:
        self.address = server.address
        self.database = Database(server.database_file)
        demo.make_demo(self.database, NOW)
        with self.database.write() as session:
            make_signed_in(session, TOKEN, ORGANIZER, NOW)

    def make(self, prepare: Callable[[Session], FieldDay], *paths: str, callsign: str = "Wren") -> list[str]:
        """Addresses on a day as it was prepared; {pilot} and {token} are those of the callsign, if it has them."""
        with self.database.write() as session:
            day = prepare(session)
            session.flush()
            values: dict[str, object] = {"code": day.code}
            if any("{pilot}" in path or "{token}" in path for path in paths):
                pilot = pilot_of(session, day, id_of(session, day, callsign))
                values |= {"pilot": pilot.id, "token": pilot.link_token}
            return [self.address + path.format(**values) for path in paths]


def sign_in(page: Page, address: str, look: str = "light") -> None:
    """As the director, with a look that was chosen."""
    cookies = {COOKIE: TOKEN, looks.COOKIE: look}
    page.context.add_cookies(
        [{"name": name, "value": value, "url": address} for name, value in cookies.items()]
    )


def demo_day(session: Session) -> FieldDay:
    return day_with(session, demo.CODE)


def powering_up(session: Session) -> FieldDay:
    day = published_day(session)
    call_heat(session, day, 1)
    return day


def in_trouble(session: Session) -> FieldDay:
    day = published_day(session)
    outside_signals.note(session, day, "5800 10 -70 camera van", NOW)
    released(session, day, 1)
    wren = pilot_of(session, day, id_of(session, day, "Wren"))
    trouble.report(session, day, wren, {"symptom": "lines"}, "pilot", NOW)
    return day


def told_to_land(session: Session) -> FieldDay:
    day = published_day(session)
    released(session, day, 1)
    flight_line.everybody_land(session, day, "An air ambulance comes in", "director", NOW)
    return day


def held_by_walkers(session: Session) -> FieldDay:
    day = powering_up(session)
    flight_line.set_walkers(session, day, True, "director", NOW)
    return day


def flown_openly(session: Session) -> FieldDay:
    day = make_day(session, aircraft=1, **SETTINGS)
    open_flying.open_up(session, day, False, "director", NOW)
    for callsign in ("Wren", "Bartholomew-the-Third-XY"):
        turns.ask(session, day, make_pilot(session, day, callsign), "pilot", NOW)
    return day


IN_USE: Sequence[Callable[[Session], FieldDay]] = (
    powering_up,
    in_trouble,
    told_to_land,
    held_by_walkers,
    flown_openly,
)


def moved_in_another_plan(session: Session, callsign: str, mhz: int) -> FieldDay:
    """The demonstration day with its latest plan published once more, one pilot on another channel."""
    day = demo_day(session)
    assert day.id is not None
    latest = published_plans.latest(session, day.id)
    assert latest is not None
    snapshot = json.loads(latest.snapshot_json)
    for slot in (
        slot for heat in snapshot["heats"] for slot in heat["slots"] if slot["callsign"] == callsign
    ):
        slot |= {"mhz": mhz, "channel": next(iter(labels_at(mhz)), None)}
    again = json.dumps(snapshot | {"number": latest.number + 1})
    published_plans.publish(session, day.id, again, "1", NOW, "director")
    logbook.append(session, day.id, "director", "plan published", f"Plan {latest.number + 1}.", {}, NOW)
    return day
