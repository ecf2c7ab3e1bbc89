"""What each page receives: one class for a template, its fields the names that the template may use."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from server.storage.tables import FieldDay, LogbookEntry
from server.web.templating import Page


@dataclass(frozen=True)
class SignInPage(Page):
    template: ClassVar[str] = "access/page.html"
    next: str
    error: str = ""


@dataclass(frozen=True)
class LogbookOfDay(Page):
    template: ClassVar[str] = "logbook/page.html"
    day: FieldDay
    tab: str
    entries: Sequence[LogbookEntry]
    older_before: int | None
    is_newest: bool
