"""What other server processes change, told to those who watch at this one."""

from collections.abc import Callable
from threading import Thread

from server.services.live import Hub, tell_everybody, tell_watchers
from server.storage.changes import Listener, listen
from server.storage.session import Database


class Listening:
    """Listens in a thread from now on, where the database tells of changes; elsewhere there is nothing to hear.

    crew_comes  called with every change: who made it may come to this process next
    """

    def __init__(self, database: Database, hub: Hub, crew_comes: Callable[[], None]) -> None:
        self._thread: Thread | None = None

        def changed(field_day_id: int) -> None:
            tell_watchers(database, hub, field_day_id)
            crew_comes()

        self._listener = Listener(changed, lambda: tell_everybody(database, hub))
        if isinstance(database.place, str):
            arguments = (database.place, self._listener)
            self._thread = Thread(target=listen, args=arguments, name="bandstand-listening", daemon=True)
            self._thread.start()

    @property
    def hears(self) -> bool:
        """Whether what others change is heard; true where there is nothing to hear."""
        return self._thread is None or self._listener.is_heard.is_set()

    def close(self) -> None:
        self._listener.is_over.set()
        if self._thread:
            self._thread.join()
