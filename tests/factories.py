"""Small makers of rows: every argument has a usual value, a test names only what it is about."""

import itertools
import unicodedata
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.services.access import token_hash
from server.services.lineup import gear_mark
from server.services.roles import DIRECTOR
from server.storage import access, days, drafts, logbook, picture_checks, pilots, published_plans
from server.storage.tables import (
    CHANNEL_RIGHT,
    Aircraft,
    Draft,
    FieldDay,
    LogbookEntry,
    PictureCheck,
    Pilot,
    PublishedPlan,
    SignedIn,
)

NOW = datetime(2026, 5, 16, 9, 30, tzinfo=UTC)
FIRST_CLUB = 1
"""The club that the migrations make."""

_numbers = itertools.count(1)


def make_day(session: Session, **values: Any) -> FieldDay:
    usual = {
        "club_id": FIRST_CLUB,
        "code": _code(next(_numbers)),
        "name": "Tern Meadow club day",
        "date": date(2026, 5, 16),
        "time_zone": "Europe/Dublin",
        "created_at": NOW,
    }
    return days.add(session, FieldDay(**usual | values))


def make_signed_in(
    session: Session, token: str, role: str = DIRECTOR, at: datetime = NOW, **values: Any
) -> SignedIn:
    """A browser that holds the token, signed in for an hour."""
    usual = {"club_id": FIRST_CLUB, "created_at": at, "expires_at": at + timedelta(hours=1)}
    return access.add_signed_in(session, SignedIn(**usual | values, role=role, token_hash=token_hash(token)))


def make_pilot(
    session: Session,
    day: FieldDay,
    callsign: str = "Wren",
    *,
    tunes: str = "A B E F R",
    receives: str = "",
    power_mw: str = "25",
    antenna: str = "rhcp",
    **values: Any,
) -> Pilot:
    """A pilot with a main aircraft, which is the one that flies."""
    usual = {
        "field_day_id": day.id,
        "callsign": callsign,
        "callsign_key": unicodedata.normalize("NFC", callsign).strip().casefold(),
        "link_token": f"token-of-pilot-{next(_numbers)}",
        "created_at": NOW,
        "updated_at": NOW,
    }
    pilot = pilots.add(session, Pilot(**usual | values))
    main = make_aircraft(session, pilot, tunes=tunes, receives=receives, power_mw=power_mw, antenna=antenna)
    pilot.flying_aircraft_id = main.id
    session.flush()
    return pilot


def make_aircraft(session: Session, pilot: Pilot, tunes: str = "A B E F R", **values: Any) -> Aircraft:
    return pilots.add_aircraft(session, Aircraft(pilot_id=pilot.id, tunes=tunes, **values))


def make_draft(session: Session, day: FieldDay, content_json: str = '{"heats": []}', **values: Any) -> Draft:
    return drafts.add(
        session, Draft(field_day_id=day.id, content_json=content_json, updated_at=NOW, **values)
    )


def make_published_plan(session: Session, day: FieldDay, snapshot_json: str = "{}") -> PublishedPlan:
    return published_plans.publish(session, day.id, snapshot_json, "1", NOW, "director")


def make_picture_check(
    session: Session, pilot: Pilot, mhz: int, verdict: str = CHANNEL_RIGHT, **values: Any
) -> PictureCheck:
    """A look at the aircraft that flies now."""
    flying = next(
        one for one in pilots.aircraft_of(session, pilot.id or 0) if one.id == pilot.flying_aircraft_id
    )
    usual = {
        "field_day_id": pilot.field_day_id,
        "pilot_id": pilot.id,
        "aircraft_id": flying.id,
        "gear": gear_mark(flying),
        "mhz": mhz,
        "verdict": verdict,
        "who": "desk",
        "at": NOW,
    }
    return picture_checks.add(session, PictureCheck(**usual | values))


def make_logbook_entry(
    session: Session, day: FieldDay | None = None, text: str = "Wren came."
) -> LogbookEntry:
    """Of the whole club where no day is given."""
    club_id = None if day else FIRST_CLUB
    return logbook.append(session, day.id if day else None, "desk", "pilot added", text, {}, NOW, club_id)


def _code(number: int) -> str:
    letters = [chr(ord("a") + number // 26**place % 26) for place in (3, 2, 1, 0)]
    return "".join(letters)
