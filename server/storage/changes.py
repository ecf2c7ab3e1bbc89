"""News of changes, for every server process on one PostgreSQL database.

A trigger on the logbook tells the day's id in the transaction of the change: if and only if it is committed, and
once however many rows it writes. What is told while nobody listens is lost, so whoever listens again after a gap
must look at everything.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event

from server.storage.session import postgresql_url

log = logging.getLogger("bandstand")

CHANNEL = "bandstand_change"
LOOK_UP_S = 0.5
"""How long it takes to notice that listening is over."""
RETRY_S = 1.0


@dataclass(frozen=True)
class Listener:
    """Who hears of changes, and when it is over.

    changed   called with the id of each day that changes
    missed    called whenever listening has begun: what was told before was not heard
    is_over   set it to end the listening
    is_heard  set while news come in
    """

    changed: Callable[[int], None]
    missed: Callable[[], None]
    is_over: Event = field(default_factory=Event)
    is_heard: Event = field(default_factory=Event)


def listen(address: str, listener: Listener) -> None:
    """Let the listener hear of every change until it is over; a connection that is cut is made again."""
    while not listener.is_over.is_set():
        try:
            _listen_once(address, listener)
        except Exception:
            log.exception("news of changes cannot be heard or told on; trying again")
            listener.is_over.wait(RETRY_S)
        finally:
            listener.is_heard.clear()


def _listen_once(address: str, listener: Listener) -> None:
    import psycopg  # here alone: 8 MB that a server with a data file can spare

    own = postgresql_url(address).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(own, autocommit=True) as connection:
        connection.execute(f"LISTEN {CHANNEL}")
        listener.missed()
        listener.is_heard.set()
        while not listener.is_over.is_set():
            # All that has come by now, each day once: under load one look serves many changes.
            for field_day_id in dict.fromkeys(
                int(notice.payload) for notice in connection.notifies(timeout=LOOK_UP_S, stop_after=1)
            ):
                listener.changed(field_day_id)
