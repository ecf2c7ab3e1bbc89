from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key


class LogbookEntry(SQLModel, table=True):
    """What was decided, by whom and when. Triggers refuse any change; the id is the order of everything.

    club_id  of what concerns a club and none of its days
    """

    __tablename__ = "logbook_entry"
    __table_args__ = NEVER_REUSE_IDS

    id: int | None = key()
    field_day_id: int | None = Field(default=None, foreign_key="field_day.id", index=True)
    club_id: int | None = Field(default=None, foreign_key="club.id", index=True)
    at: datetime
    who: str
    action: str
    text: str
    data_json: str = "{}"
