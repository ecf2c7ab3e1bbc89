from sqlmodel import Field, SQLModel


class PaperChoice(SQLModel, table=True):
    """How a day is printed, once somebody chose: the size of paper, and the sections of its heat sheet.

    size      "a4" or "letter"
    sections  names of sections, with spaces between
    """

    __tablename__ = "paper_choice"

    field_day_id: int = Field(primary_key=True, foreign_key="field_day.id")
    size: str
    sections: str
