"""What the top of every page of the director says is live."""

from dataclasses import dataclass

from sqlmodel import Session

from server.services.standings import draft_mark
from server.storage.tables import FieldDay


@dataclass(frozen=True)
class LiveMark:
    """`kind` is "published" or "draft", the form of the mark; `text` says it in words."""

    kind: str
    text: str


def live_mark(session: Session, day: FieldDay) -> LiveMark:
    """On the pages of this day."""
    return LiveMark(*draft_mark(session, day))


def live_mark_by_name(session: Session, day: FieldDay) -> LiveMark:
    """On pages that belong to no day: the words begin with its name."""
    kind, text = draft_mark(session, day)
    return LiveMark(kind, f"{day.name} \N{MIDDLE DOT} {text}")
