"""What nobody presses a button for: nudges in time, and what a changed roster or site does to places and calls."""

from datetime import datetime

from sqlmodel import Session

from server.services.day_settling import settle
from server.services.live import Hub, announce
from server.services.turn_settling import is_nudge_due
from server.storage import calls, clearances, days
from server.storage import turns as stored
from server.storage.session import Database


class TurnWatch:
    """Looks at the days with turns or a call; a look that finds nothing new writes nothing."""

    def __init__(self, database: Database, hub: Hub) -> None:
        self._database, self._hub = database, hub
        self._settled: dict[int, int] = {}

    def look(self, at: datetime) -> None:
        """Settle every day where a nudge is due or something was decided since the last look, and tell."""
        for field_day_id in self._to_settle(at):
            with self._database.write() as session:
                day = days.by_id(session, field_day_id)
                if day is None:
                    continue
                settle(session, day, at)
                self._settled[field_day_id] = Database.order(session, field_day_id)
            announce(self._database, self._hub, field_day_id)

    def _to_settle(self, at: datetime) -> list[int]:
        with self._database.read() as session:
            return [
                one
                for one in _days(session)
                if self._settled.get(one) != Database.order(session, one)
                or any(is_nudge_due(turn, at) for turn in stored.live(session, one))
            ]


def _days(session: Session) -> list[int]:
    """Ids of the days where something can follow by itself."""
    ids = (
        stored.days_with_turns(session),
        calls.days_with_a_call(session),
        clearances.days_with_clearances(session),
    )
    return sorted({one for some in ids for one in some})
