"""News of changes, for every server process on one PostgreSQL database.

A trigger on the logbook tells the day's id in the transaction of the change: if and only if it is committed, and
once however many rows it writes. What is told while nobody listens is lost, so whoever listens again after a gap
must look at everything.
"""

import logging
from collections.abc import Callable
from threading import Event

from server.storage.session import postgresql_url

log = logging.getLogger("bandstand")

CHANNEL = "bandstand_change"
LOOK_UP_S = 0.5
"""How long it takes to notice that listening is over."""
RETRY_S = 1.0


def listen(
    address: str,
    changed: Callable[[int], None],
    missed: Callable[[], None],
    is_over: Event,
    is_heard: Event,
) -> None:
    """Call `changed` with the id of each day that changes, until `is_over` is set.

    missed    called whenever listening has begun: what was told before was not heard
    is_heard  set while news come in
    """
    while not is_over.is_set():
        try:
            _listen_once(address, changed, missed, is_over, is_heard)
        except Exception:
            log.exception("news of changes cannot be heard or told on; trying again")
            is_over.wait(RETRY_S)
        finally:
            is_heard.clear()


def _listen_once(
    address: str,
    changed: Callable[[int], None],
    missed: Callable[[], None],
    is_over: Event,
    is_heard: Event,
) -> None:
    import psycopg  # here alone: 8 MB that a server with a data file can spare

    own = postgresql_url(address).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(own, autocommit=True) as connection:
        connection.execute(f"LISTEN {CHANNEL}")
        missed()
        is_heard.set()
        while not is_over.is_set():
            # All that has come by now, each day once: under load one look serves many changes.
            for field_day_id in dict.fromkeys(
                int(notice.payload) for notice in connection.notifies(timeout=LOOK_UP_S, stop_after=1)
            ):
                changed(field_day_id)
