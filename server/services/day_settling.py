"""What follows by itself everywhere on a day, in the transaction of whatever happened: turns at open flying, the
live call, the pits. One of them frees another, so whoever presses has all of them settled at once.
"""

from datetime import datetime

from sqlmodel import Session

from server.services import call_settling, turn_settling
from server.storage.tables import FieldDay


def settle(session: Session, day: FieldDay, at: datetime) -> None:
    """Bring the whole day to rest; on an archived one nobody is given a turn."""
    if day.archived_at is None:
        turn_settling.settle(session, day, at)
    call_settling.settle(session, day, at)
