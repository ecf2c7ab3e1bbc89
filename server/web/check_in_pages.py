"""What the pages and fragments of check-in, import and join receive."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from server.services.desk import DeskEcho
from server.services.faults import Fault
from server.services.gear import ASSUMED_TUNES, PRESETS, GearPreset
from server.services.import_columns import FIELDS
from server.services.imports import Look
from server.services.joins import POWER_STEPS_MW
from server.services.roster_table import RosterRow, RosterTable
from server.services.stale_forms import StaleFormError
from server.storage.tables import Aircraft, FieldDay, Pilot
from server.web.live_mark import LiveMark
from server.web.phone_addresses import PhoneAddress
from server.web.templating import Page
from server.wording import gettext as _


@dataclass(frozen=True)
class Desk:
    """The place where pilots are added.

    line       as typed, where it could not be taken
    faults     sentences under the line
    by_fields  the form of fields is open, and `typed` what stands in it, `errors` what is wrong by field
    answer     the row of the pilot who was just added
    """

    assumed_tunes: ClassVar[str] = ASSUMED_TUNES

    line: str = ""
    faults: Sequence[str] = ()
    by_fields: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    answer: RosterRow | None = None


@dataclass(frozen=True)
class CheckInPage(Page):
    template: ClassVar[str] = "check_in/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    desk: Desk
    roster: RosterTable
    search: str
    only: str
    acted: int | None
    notice: str
    join: PhoneAddress


@dataclass(frozen=True)
class DeskFragment(Page):
    """The desk anew, and beside it the roster where somebody was added."""

    template: ClassVar[str] = "check_in/_desk_and_roster.html"
    day: FieldDay
    desk: Desk
    roster: RosterTable | None = None
    search: str = ""
    only: str = ""
    acted: int | None = None


@dataclass(frozen=True)
class EchoFragment(Page):
    template: ClassVar[str] = "check_in/_echo.html"
    echo: DeskEcho | None
    day: FieldDay


@dataclass(frozen=True)
class RosterFragment(Page):
    """The roster anew.

    acted    the id of the pilot who was just changed
    answers  the place of the answer changes too: to `answer`, a pilot who was given a channel, or to nothing
    """

    template: ClassVar[str] = "check_in/_roster_and_counts.html"
    day: FieldDay
    roster: RosterTable
    search: str
    only: str
    acted: int | None = None
    answers: bool = False
    answer: RosterRow | None = None


@dataclass(frozen=True)
class NewsFragment(Page):
    template: ClassVar[str] = "check_in/_news.html"
    day: FieldDay
    search: str
    only: str


@dataclass(frozen=True)
class FormState:
    """A form with optimistic saving.

    typed    what stands in the fields
    was      what is saved, repeated in hidden fields, so that an overtaken form can tell what was typed
    stale    both versions, where somebody else saved meanwhile; `theirs` of that, what they changed, by field
    """

    typed: Mapping[str, str]
    was: Mapping[str, str]
    version: int
    errors: Mapping[str, str] = field(default_factory=dict)
    stale: StaleFormError | None = None

    @property
    def theirs(self) -> Mapping[str, str]:
        return self.stale.theirs if self.stale else {}


@dataclass(frozen=True)
class PilotPage(Page):
    """One pilot with the pilot's own form, one for each aircraft, and one for a spare to be added."""

    template: ClassVar[str] = "check_in/pilot.html"
    day: FieldDay
    tab: str
    live: LiveMark
    row: RosterRow
    form: FormState
    aircraft: Sequence[tuple[Aircraft, FormState]]
    spare: FormState
    saved: bool


@dataclass(frozen=True)
class LinkFragment(Page):
    template: ClassVar[str] = "check_in/_link.html"
    day: FieldDay
    pilot: Pilot
    address: PhoneAddress
    notice: str = ""
    renewed: bool = False


@dataclass(frozen=True)
class LinkPage(Page):
    template: ClassVar[str] = "check_in/link.html"
    day: FieldDay
    tab: str
    live: LiveMark
    pilot: Pilot
    address: PhoneAddress
    notice: str = ""
    renewed: bool = False


@dataclass(frozen=True)
class ImportPage(Page):
    """Before a list is chosen, with a text that is no table, or with a list looked at.

    text    the list, which the page carries until it is added
    faults  why the text is no table
    notice  why nothing was added
    """

    template: ClassVar[str] = "imports/page.html"
    day: FieldDay
    tab: str
    live: LiveMark
    text: str = ""
    file: str = ""
    look: Look | None = None
    faults: Sequence[Fault] = ()
    notice: str = ""
    fields: Mapping[str, str] = field(
        default_factory=lambda: {name: _(words) for name, words in FIELDS.items()}
    )


@dataclass(frozen=True)
class JoinPage(Page):
    """The form on a phone, as typed."""

    template: ClassVar[str] = "join/page.html"
    day: FieldDay
    typed: Mapping[str, str]
    errors: Mapping[str, str]
    notice: str
    presets: Sequence[GearPreset] = PRESETS
    power_steps_mw: Sequence[int] = POWER_STEPS_MW


@dataclass(frozen=True)
class JoinedPage(Page):
    """What a phone shows once its pilot is on the roster."""

    template: ClassVar[str] = "join/joined.html"
    day: FieldDay
    row: RosterRow
    join_id: str
