"""Which day EVERYBODY LAND is for on a page of no day: the field guide, an error, both versions of a form."""

from fastapi import Request

from server.services import days
from server.storage.session import DatabaseFailsError
from server.storage.tables import FieldDay
from server.web.dependencies import who_asks


def day_to_land(request: Request) -> FieldDay | None:
    """The club's day that the address names, else its current one; None for strangers, and where there is none.

    None too where the database fails: it must not hide the error that is being told.
    """
    try:
        who = who_asks(request)
        if who is None:
            return None
        with request.app.state.database.read() as session:
            current = days.current_day(session, who.club_id, request.app.state.clock())
            listed = days.all_days(session, who.club_id)
    except DatabaseFailsError:
        return None
    code = request.path_params.get("code")
    return next((day for day in listed if day.code == code and day.archived_at is None), current)
