"""What other server processes change, told to those who watch at this one."""

from collections.abc import Callable
from threading import Event, Thread

from server.services.live import Hub, tell_everybody, tell_watchers
from server.storage.changes import listen
from server.storage.session import Database


class Listening:
    """Listens in a thread from now on, where the database tells of changes; elsewhere there is nothing to hear.

    crew_comes  called with every change: who made it may come to this process next
    """

    def __init__(self, database: Database, hub: Hub, crew_comes: Callable[[], None]) -> None:
        self._is_over, self._is_heard = Event(), Event()
        self._thread: Thread | None = None
        if not isinstance(database.place, str):
            return

        def changed(field_day_id: int) -> None:
            tell_watchers(database, hub, field_day_id)
            crew_comes()

        arguments = (
            database.place,
            changed,
            lambda: tell_everybody(database, hub),
            self._is_over,
            self._is_heard,
        )
        self._thread = Thread(target=listen, args=arguments, name="bandstand-listening", daemon=True)
        self._thread.start()

    @property
    def hears(self) -> bool:
        """Whether what others change is heard; true where there is nothing to hear."""
        return self._thread is None or self._is_heard.is_set()

    def close(self) -> None:
        self._is_over.set()
        if self._thread:
            self._thread.join()
