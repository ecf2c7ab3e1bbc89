"""What a route gets with every press of a button: where it happens, when, and what the form says."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from server.services import live
from server.services.errors import OvertakenError
from server.storage.tables import FieldDay
from server.web.dependencies import DatabaseOfApp, HubOfApp, Now, SettingsOfApp
from server.web.form_text import FormText


@dataclass(frozen=True)
class Press:
    """One press. `now` is the moment of the request, the same for all that follows from it."""

    request: Request
    database: DatabaseOfApp
    settings: SettingsOfApp
    hub: HubOfApp
    now: Now
    form: FormText

    @property
    def seen(self) -> str:
        """What the form repeats of its page, so that a press on an old page changes nothing."""
        return self.form.get("seen", "")

    @property
    def again(self) -> str:
        """Where the words of an override go again once it was refused; empty for a press without words."""
        return self.request.url.path if "words" in self.form else ""

    def announce(self, day: FieldDay) -> None:
        """Tell every live page of the day. Call it after the commit, never before."""
        assert day.id is not None
        live.announce(self.database, self.hub, day.id)


PressOfApp = Annotated[Press, Depends()]


def status_of(error: Exception) -> int:
    """409 for a press that somebody was faster than, 422 for one that cannot be done."""
    return 409 if isinstance(error, OvertakenError) else 422
