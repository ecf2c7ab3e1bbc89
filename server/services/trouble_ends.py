"""The end of a heat closes the reports of trouble that are open in it, and undoing the end opens them again."""

from datetime import datetime

from sqlmodel import Session

from server.storage import logbook
from server.storage import trouble_reports as stored
from server.storage.tables import TroubleReport
from server.wording import gettext as _
from server.wording import marked

HEAT_IS_OVER = marked("the heat is over")


def close_of_call(session: Session, field_day_id: int, call_id: int, who: str, at: datetime) -> None:
    """Close what is open of this call: nobody of it sees a picture any more."""
    for row in stored.still_open(session, field_day_id):
        if row.call_id == call_id:
            row.closed_at, row.closed_as = at, HEAT_IS_OVER
            text = _("Trouble of %(callsign)s is over: the heat is over.", callsign=row.callsign)
            _log(session, row, who, "trouble over", text, at)


def reopen_of_call(session: Session, field_day_id: int, call_id: int, who: str, at: datetime) -> None:
    """Open again what the end of this call closed, but for pilots who have reported anew since."""
    anew = {row.pilot_id for row in stored.still_open(session, field_day_id)}
    for row in stored.closed_as(session, field_day_id, call_id, HEAT_IS_OVER):
        if row.pilot_id not in anew:
            row.closed_at, row.closed_as = None, ""
            text = _("Trouble of %(callsign)s is open again: the heat is not over.", callsign=row.callsign)
            _log(session, row, who, "trouble open again", text, at)


def _log(session: Session, row: TroubleReport, who: str, action: str, text: str, at: datetime) -> None:
    session.add(row)
    session.flush()
    logbook.append(session, row.field_day_id, who, action, text, {"report_id": row.id}, at)
