"""What nobody presses a button for: nudges in time, and places that a changed roster or site frees."""

from datetime import datetime

from server.services.live import Hub, announce
from server.services.turn_settling import is_nudge_due, settle
from server.storage import days
from server.storage import turns as stored
from server.storage.session import Database


class TurnWatch:
    """Looks at the days with turns; a look that finds nothing new reads a few rows and writes nothing."""

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
                for one in stored.days_with_turns(session)
                if self._settled.get(one) != Database.order(session, one)
                or any(is_nudge_due(turn, at) for turn in stored.live(session, one))
            ]
