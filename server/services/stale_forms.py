"""A form that was overtaken: somebody else saved while it was being filled in. Nothing typed is lost."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.services.errors import OvertakenError
from server.wording import gettext as _


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

    saved    what is saved now
    theirs   of that, the fields that somebody else changed
    merged   what was typed where something was typed, else what is saved now
    version  to send with the merged form
    """

    def __init__(
        self,
        what: str,
        saved: Mapping[str, str],
        theirs: Mapping[str, str],
        merged: Mapping[str, str],
        version: int,
    ) -> None:
        super().__init__(
            _(
                "Somebody else changed %(what)s since this page was loaded. Here stands what you typed, and "
                "under it what is saved: save again to keep what you see.",
                what=what,
            )
        )
        self.saved = dict(saved)
        self.theirs = dict(theirs)
        self.merged = dict(merged)
        self.version = version


def check_fresh(what: str, form: Form, saved: Mapping[str, str], version: int) -> None:
    """Raises StaleFormError where the form was overtaken: a later version that says something else."""
    theirs = {name: text for name, text in saved.items() if text != form.was.get(name, text)}
    if form.version == version or not theirs:
        return
    merged = {
        name: saved[name] if form.typed.get(name, "") == form.was.get(name) else form.typed.get(name, "")
        for name in saved
    }
    raise StaleFormError(what, saved, theirs, merged, version)
