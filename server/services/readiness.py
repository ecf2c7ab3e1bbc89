"""Whether a server process can do its work now: for whoever sends it requests, as a proxy does."""

from pathlib import Path

from server.services.listening import Listening
from server.storage import migrate
from server.storage.session import Database, DatabaseFailsError

MIGRATIONS, NEWS = "migrations", "news"


class Readiness:
    """Asked as often as anybody likes: one short read each time."""

    def __init__(self, database: Database, scripts: Path, listening: Listening) -> None:
        self._database = database
        self._newest = migrate.newest_revision(scripts)
        self._listening = listening

    def why_not(self) -> str:
        """One word why no request should come here now, empty where any may.

        Why the database fails (`storage.session`), MIGRATIONS where its tables are not of this version, NEWS
        where changes by other processes are not heard, so that live pages would stand still.
        """
        try:
            with self._database.read() as session:
                is_newest = migrate.revision_of(session) == self._newest
        except DatabaseFailsError as error:
            return error.why
        if not is_newest:
            return MIGRATIONS
        return "" if self._listening.hears else NEWS
