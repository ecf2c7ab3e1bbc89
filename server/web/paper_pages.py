"""What the page of papers receives."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

from server.services.heat_sheets import HeatSheet
from server.services.paper import Section
from server.services.paper_choices import PaperChoices
from server.services.typesetting import Paper
from server.storage.tables import FieldDay
from server.web.live_mark import LiveMark
from server.web.templating import Page
from server.wording import marked

Kind = Literal["heat-sheet", "one-page", "pilot-cards", "channel-cards", "check-in-form"]

KINDS: Mapping[Kind, tuple[str, str]] = {
    "heat-sheet": (
        marked("Heat sheet"),
        marked("For the flight line and the notice board, with the sections chosen."),
    ),
    "one-page": (
        marked("The day on one page"),
        marked("Heats down, channels across: for the wall of a small day."),
    ),
    "pilot-cards": (
        marked("Pilot cards"),
        marked("Eight to a page, to cut: channel, power, heats, and the code of the own page."),
    ),
    "channel-cards": (
        marked("Channel cards"),
        marked("Eight to a page, to cut: for pegs and frequency boards."),
    ),
    "check-in-form": (
        marked("Blank check-in form"),
        marked("One line for each pilot, when the desk has no power."),
    ),
}
"""Title of each document and what it is for."""


@dataclass(frozen=True)
class PaperItem:
    """One document as the page shows it.

    pages    how many sheets it takes; None where it cannot be had
    query    what its addresses are asked with
    why_not  the sentence why it cannot be had, empty where it can
    """

    kind: Kind
    title: str
    about: str
    pages: int | None = None
    query: str = ""
    why_not: str = ""


@dataclass(frozen=True)
class PapersFragment(Page):
    """`names_not_drawn` are callsigns with the number of their letters that no font here has."""

    template: ClassVar[str] = "paper/_papers.html"
    day: FieldDay
    sheet: HeatSheet | None
    choices: PaperChoices
    sizes: Mapping[Paper, str]
    sections: Mapping[Section, str]
    items: Sequence[PaperItem]
    names_not_drawn: Sequence[tuple[str, int]]
    errors: Mapping[str, str]


@dataclass(frozen=True)
class PaperPage(PapersFragment):
    template: ClassVar[str] = "paper/page.html"
    tab: str
    live: LiveMark
