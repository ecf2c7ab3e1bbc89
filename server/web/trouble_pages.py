"""The page Trouble inside the tab Flight line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from sqlmodel import Session

from server.services.errors import InputError
from server.services.trouble_views import TroubleDesk, onset_choices, symptom_choices, trouble_desk
from server.storage.tables import FieldDay
from server.web.live_mark import LiveMark, live_mark
from server.web.templating import Page
from server.wording import gettext as _

Choice = tuple[str, str]

FIELDS = ("pilot", "symptom", "near", "onset")
"""Of the form; what was wrong elsewhere stands in the notice."""


@dataclass(frozen=True)
class TroublePage(Page):
    """`notice` says what was refused; `form` and `errors` belong to the form of a new report."""

    template: ClassVar[str] = "trouble/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    desk: TroubleDesk
    heartbeat_ms: int
    notice: str = ""
    form: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    near: Sequence[Choice] = ()
    symptoms: Sequence[Choice] = field(default_factory=symptom_choices)
    onsets: Sequence[Choice] = field(default_factory=onset_choices)


def trouble_page(
    session: Session,
    day: FieldDay,
    heartbeat_ms: int,
    form: Mapping[str, str] | None = None,
    error: Exception | None = None,
) -> TroublePage:
    faults = error.faults if isinstance(error, InputError) else {}
    errors = {name: fault for name, fault in faults.items() if name in FIELDS}
    desk = trouble_desk(session, day)
    return TroublePage(
        day=day,
        tab="line",
        live=live_mark(session, day),
        desk=desk,
        heartbeat_ms=heartbeat_ms,
        notice="" if error is None or errors else str(error),
        form=form or {},
        errors=errors,
        near=[
            ("", _("Nobody in particular")),
            *((name, name) for name in (choice[1] for choice in desk.flying)),
        ],
    )
