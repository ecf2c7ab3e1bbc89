"""Heat sheets without a data file, for tests of what is made of them."""

import itertools
import json
from collections.abc import Sequence
from datetime import date
from typing import Any

from server.services.heat_sheets import HeatSheet
from server.storage.tables import FieldDay, Pilot
from tests.factories import FIRST_CLUB, NOW
from tests.factories_snapshot import make_snapshot

BASE_URL = "http://192.168.8.2:8000"
LABELS = ("R1", "R2", "R4", "F2", "E7", "R8", "F6", "A1")


def make_sheet(heats: Sequence[Sequence[tuple[str, str | int]]], **values: Any) -> HeatSheet:
    """A sheet of these heats, each a list of callsigns with their channels.

    `name` and `time_zone` go to the day, `replaced_by` and `base_url` to the sheet, the rest to the snapshot.
    """
    day = FieldDay(
        club_id=FIRST_CLUB,
        code="tern",
        name=values.pop("name", "Tern Meadow club day"),
        date=date(2026, 5, 16),
        time_zone=values.pop("time_zone", "Europe/Dublin"),
        created_at=NOW,
    )
    base_url, replaced_by = values.pop("base_url", BASE_URL), values.pop("replaced_by", None)
    ids = itertools.count(1)
    pilots = {
        callsign: Pilot(id=next(ids), callsign=callsign)
        for callsign in dict.fromkeys(callsign for heat in heats for callsign, _ in heat)
    }
    placed = [[(pilots[callsign], at) for callsign, at in heat] for heat in heats]
    plan = json.loads(json.dumps(make_snapshot(day, placed, **{"number": 4, **values})))
    return HeatSheet(plan, replaced_by, (), base_url)


def large_sheet(callsigns: Sequence[str], rounds: int, **values: Any) -> HeatSheet:
    """As many heats of eight as the callsigns fill, the same in each round."""
    heats = [
        [(callsign, label) for callsign, label in zip(callsigns[first : first + 8], LABELS, strict=False)]
        for first in range(0, len(callsigns), 8)
    ]
    return make_sheet(heats * rounds, heats_a_round=len(heats), **values)
