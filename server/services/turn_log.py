from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.storage import logbook
from server.storage.tables import Turn


def log(
    session: Session,
    turn: Turn,
    who: str,
    action: str,
    text: str,
    at: datetime,
    facts: Mapping[str, Any] | None = None,
) -> None:
    """The logbook's row of what happened to a turn, with what the turn is after it."""
    session.flush()
    after = {
        "turn_id": turn.id,
        "pilot_id": turn.pilot_id,
        "stage": turn.stage,
        "place": turn.place,
        "mhz": turn.mhz,
        "power_mw": turn.power_mw,
    }
    logbook.append(session, turn.field_day_id, who, action, text, {**after, **(facts or {})}, at)
