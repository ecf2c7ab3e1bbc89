"""A form that was overtaken: somebody else saved while it was being filled in. Nothing typed is lost."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.services.errors import OvertakenError


@dataclass(frozen=True)
class Form:
    """A form as it comes back.

    typed    text by field
    was      the text that the page showed when it was loaded
    version  of the row at that time
    """

    typed: Mapping[str, str]
    was: Mapping[str, str]
    version: int


class StaleFormError(OvertakenError):
    """Both versions, and what comes of them.

    theirs   what is saved now, for the fields that somebody else changed
    merged   what was typed where something was typed, else what is saved now
    version  to send with the merged form
    """

    def __init__(self, what: str, theirs: Mapping[str, str], merged: Mapping[str, str], version: int) -> None:
        super().__init__(
            f"Somebody else changed {what} since this page was loaded. "
            "Below stands what you typed, and beside it what is saved: save again to keep what you see."
        )
        self.theirs = dict(theirs)
        self.merged = dict(merged)
        self.version = version


def check_fresh(what: str, form: Form, saved: Mapping[str, str], version: int) -> None:
    """Raises StaleFormError where the form was overtaken."""
    if form.version == version:
        return
    theirs = {name: text for name, text in saved.items() if text != form.was.get(name, text)}
    merged = {
        name: saved[name] if form.typed.get(name, "") == form.was.get(name) else form.typed.get(name, "")
        for name in saved
    }
    raise StaleFormError(what, theirs, merged, version)
