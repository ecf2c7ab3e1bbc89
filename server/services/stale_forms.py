"""A form that was overtaken: somebody else saved while it was being filled in. Nothing typed is lost.

Every form that changes a thing repeats in hidden fields what it showed of it. `check_fresh` compares that with
what is saved now, in the transaction that would save the form.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from server.services.errors import OvertakenError
from server.wording import gettext as _
from server.wording import marked, time_of_day

OVERTAKEN = marked(
    "Somebody else changed %(what)s since this page was loaded (%(who)s, %(time)s). Look at both, then choose."
)


@dataclass(frozen=True)
class Form:
    """A form as it comes back.

    typed    text by field
    was      the text that the page showed when it was loaded; a field that it does not name is not compared
    version  of the row at that time, None where the form knows none
    """

    typed: Mapping[str, str]
    was: Mapping[str, str]
    version: int | None = None


@dataclass(frozen=True)
class Field:
    """How a field is called, and the words of each value where it is chosen and not typed."""

    label: str
    choices: Mapping[str, str] | None = None

    def words(self, text: str) -> str:
        return (self.choices or {}).get(text, text) or _("nothing")


@dataclass(frozen=True)
class LastChange:
    """Who saved last, by role, and when where the field is."""

    who: str
    at: datetime
    time_zone: str


@dataclass(frozen=True)
class Saved:
    """What is saved of the thing that a form changes.

    what     the thing, as a sentence names it
    texts    by field, as the form shows them
    fields   by name
    version  of its row, None where its texts alone tell that it was changed
    last     who changed it last and when, None where nobody knows; asked only where a form was overtaken
    told     the sentence of an overtaken form, where the usual one would not be true
    """

    what: str
    texts: Mapping[str, str]
    fields: Mapping[str, Field]
    version: int | None = None
    last: Callable[[], LastChange | None] = field(default=lambda: None)
    told: str = OVERTAKEN


@dataclass(frozen=True)
class Difference:
    """One row of both versions, in words.

    text        as it was sent
    is_touched  the later person changed this field at all
    is_typed    it holds text that can be edited further
    """

    name: str
    label: str
    stands: str
    yours: str
    text: str
    is_touched: bool
    is_typed: bool


class StaleFormError(OvertakenError):
    """Both versions, and what comes of them.

    saved        what is saved now
    theirs       of that, the fields that somebody else changed
    merged       what was typed where something was typed, else what is saved now
    version      to send with the merged form
    differences  where the form and what is saved now are not the same, in the order of the form
    """

    def __init__(self, form: Form, saved: Saved, theirs: Mapping[str, str]) -> None:
        super().__init__(_told(saved, saved.last()))
        touched = {name for name in saved.texts if form.typed.get(name, "") != form.was.get(name)}
        self.saved = dict(saved.texts)
        self.theirs = dict(theirs)
        self.merged = {
            name: form.typed.get(name, "") if name in touched else text for name, text in saved.texts.items()
        }
        self.version = saved.version or 0
        self.differences = [
            _difference(name, saved, form.typed.get(name, ""), name in touched)
            for name, text in saved.texts.items()
            if form.typed.get(name, "") != text
        ]


def check_fresh(form: Form, saved: Saved) -> None:
    """Raises StaleFormError where the form would overwrite what its page did not show."""
    if form.version is not None and form.version == saved.version:
        return
    theirs = {name: text for name, text in saved.texts.items() if text != form.was.get(name, text)}
    if any(form.typed.get(name, "") != text for name, text in theirs.items()):
        raise StaleFormError(form, saved, theirs)


def _difference(name: str, saved: Saved, typed: str, is_touched: bool) -> Difference:
    one = saved.fields[name]
    return Difference(
        name=name,
        label=one.label,
        stands=one.words(saved.texts[name]),
        yours=one.words(typed),
        text=typed,
        is_touched=is_touched,
        is_typed=one.choices is None,
    )


def _told(saved: Saved, last: LastChange | None) -> str:
    if last is None:
        return _(
            "Somebody else changed %(what)s since this page was loaded. Look at both, then choose.",
            what=saved.what,
        )
    return _(
        saved.told,
        what=saved.what,
        who=_(last.who),
        time=time_of_day(last.at.astimezone(ZoneInfo(last.time_zone))),
    )
