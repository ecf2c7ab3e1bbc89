from sqlmodel import Session, col, select

from server.storage.tables import Draft


def add(session: Session, draft: Draft) -> Draft:
    session.add(draft)
    session.flush()
    return draft


def of_day(session: Session, field_day_id: int) -> Draft | None:
    return session.exec(select(Draft).where(col(Draft.field_day_id) == field_day_id)).first()


def remove(session: Session, draft: Draft) -> None:
    session.delete(draft)
    session.flush()
