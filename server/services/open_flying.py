"""Open and close open flying: no heats, whoever asks gets a channel or a place in the queue."""

from datetime import datetime

from sqlmodel import Session

from server.services.days import can_publish
from server.services.errors import RefusedError
from server.services.turn_settling import settle
from server.storage import calls, logbook
from server.storage import turns as stored
from server.storage.tables import FieldDay, OpenFlying
from server.wording import gettext as _
from server.wording import marked

BESIDE = marked("Pits may power up while others fly, where that is clear by computation.")
NOT_BESIDE = marked("While others fly, the director says who powers up.")


def is_open(session: Session, day: FieldDay) -> bool:
    """Whether pilots of this day may ask to fly now."""
    assert day.id is not None
    row = stored.open_flying_of(session, day.id)
    return row is not None and row.is_open and day.archived_at is None


def open_up(session: Session, day: FieldDay, may_power_up_beside: bool, who: str, at: datetime) -> None:
    """Open, or change the rule for the pits; who was in the queue when it was closed still is.

    Raises RefusedError where nothing of this day may be published, or a heat is called.
    """
    assert day.id is not None
    why_not = can_publish(day)
    if why_not:
        raise RefusedError(why_not)
    if calls.live(session, day.id) is not None:
        raise RefusedError(_("A heat is called: end it before pilots fly without heats."))
    row = stored.open_flying_of(session, day.id)
    if row is not None and row.is_open and row.may_power_up_beside == may_power_up_beside:
        return
    was_open = row is not None and row.is_open
    if row is None:
        row = OpenFlying(
            field_day_id=day.id, is_open=True, may_power_up_beside=may_power_up_beside, changed_at=at
        )
        stored.add_open_flying(session, row)
    row.is_open, row.may_power_up_beside, row.changed_at = True, may_power_up_beside, at
    rule = _(BESIDE if may_power_up_beside else NOT_BESIDE)
    text = rule if was_open else f"{_('Opened open flying.')} {rule}"
    _log(session, day, "pit rule changed" if was_open else "open flying opened", text, who, at)
    settle(session, day, at)


def close(session: Session, day: FieldDay, who: str, at: datetime) -> None:
    """Close: everybody lands, nobody is given a place. A second press changes nothing."""
    assert day.id is not None
    row = stored.open_flying_of(session, day.id)
    if row is None or not row.is_open:
        return
    row.is_open, row.changed_at = False, at
    _log(session, day, "open flying closed", _("Closed open flying: everybody lands."), who, at)


def _log(session: Session, day: FieldDay, action: str, text: str, who: str, at: datetime) -> None:
    session.flush()
    logbook.append(session, day.id, who, action, text, {}, at)
