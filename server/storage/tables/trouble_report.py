from datetime import datetime

from sqlmodel import Field, SQLModel

from server.storage.tables.base import NEVER_REUSE_IDS, key, version_column

_version = version_column()


class TroubleReport(SQLModel, table=True):
    """A pilot says what is wrong with the picture; open until somebody says what came of it.

    call_id      the call of the heat that was in the air; None at open flying
    near         callsign of who is near when it happens, empty where nobody was named
    onset        "from the start" or "suddenly", empty where nobody said
    causes_json    what the desk is told of the causes, after the outcomes that were entered
    case_json      how likely each outcome of each test is under each cause, in the air as it was reported; empty
                   for reports older than tests
    outcomes_json  list of what tests showed, the first one first
    answer       what the pilot is told to do, empty until the director has said
    closed_as    what it was, as words
    """

    __tablename__ = "trouble_report"
    __table_args__ = NEVER_REUSE_IDS
    __mapper_args__ = {"version_id_col": _version}

    id: int | None = key()
    field_day_id: int = Field(foreign_key="field_day.id", index=True)
    pilot_id: int = Field(foreign_key="pilot.id", ondelete="CASCADE")
    call_id: int | None = None
    callsign: str
    symptom: str
    near: str = ""
    onset: str = ""
    who: str
    at: datetime
    causes_json: str
    case_json: str = ""
    outcomes_json: str = "[]"
    answer: str = ""
    answered_at: datetime | None = None
    closed_at: datetime | None = None
    closed_as: str = ""
    version: int = Field(default=1, sa_column=_version)
