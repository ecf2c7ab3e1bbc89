"""How days are printed: one row a day, none before somebody chose."""

from sqlmodel import Session

from server.storage.tables import PaperChoice


def of_day(session: Session, field_day_id: int) -> PaperChoice | None:
    return session.get(PaperChoice, field_day_id)


def keep(session: Session, field_day_id: int, size: str, sections: str) -> None:
    choice = of_day(session, field_day_id) or PaperChoice(field_day_id=field_day_id, size="", sections="")
    choice.size, choice.sections = size, sections
    session.add(choice)
    session.flush()
