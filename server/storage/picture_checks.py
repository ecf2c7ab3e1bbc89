from sqlmodel import Session, col, select

from server.storage.tables import PictureCheck


def add(session: Session, check: PictureCheck) -> PictureCheck:
    session.add(check)
    session.flush()
    return check


def latest(session: Session, field_day_id: int) -> dict[int, PictureCheck]:
    """The latest check of each pilot of the day that is not void, by pilot id."""
    of_the_day = select(PictureCheck).where(
        col(PictureCheck.field_day_id) == field_day_id, col(PictureCheck.is_void).is_(False)
    )
    return {check.pilot_id: check for check in session.exec(of_the_day.order_by(col(PictureCheck.id)))}


def latest_of(session: Session, pilot_id: int) -> PictureCheck | None:
    own = select(PictureCheck).where(
        col(PictureCheck.pilot_id) == pilot_id, col(PictureCheck.is_void).is_(False)
    )
    return session.exec(own.order_by(col(PictureCheck.id).desc()).limit(1)).first()


def by_id(session: Session, pilot_id: int, check_id: int) -> PictureCheck | None:
    own = select(PictureCheck).where(col(PictureCheck.pilot_id) == pilot_id, col(PictureCheck.id) == check_id)
    return session.exec(own).first()


def void_all_of(session: Session, pilot_id: int) -> None:
    """Make an end of what was found about a pilot's transmitter: it may be on any channel now."""
    for check in session.exec(
        select(PictureCheck).where(
            col(PictureCheck.pilot_id) == pilot_id, col(PictureCheck.is_void).is_(False)
        )
    ):
        check.is_void = True
    session.flush()
