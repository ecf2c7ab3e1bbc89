"""Who must hear of a changed roster."""

from server.services import live
from server.services.live import Hub
from server.storage.session import Database
from server.storage.tables import FieldDay


def announce_roster(database: Database, hub: Hub, day: FieldDay) -> None:
    """Tell the pilots' own pages: before a plan they show the provisional channel. Call it after the commit."""
    assert day.id is not None
    live.announce(database, hub, day.id)
