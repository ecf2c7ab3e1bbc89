"""How a day is printed: the size of paper and the sections of the heat sheet, as last chosen for the day."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from sqlmodel import Session

from server.services.errors import InputError
from server.services.paper import SECTIONS, Section
from server.services.typesetting import Paper
from server.storage import paper_choices
from server.storage.tables import FieldDay
from server.wording import gettext as _

SIZES: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}

USUAL_SECTIONS: tuple[Section, ...] = ("heat", "pilot", "channel")

_LETTER_PLACES = ("Canada/", "US/", "America/Indiana/", "America/Kentucky/", "America/North_Dakota/")
_LETTER_CITIES = (
    *("Anchorage", "Boise", "Chicago", "Denver", "Detroit", "Edmonton", "Halifax", "Juneau", "Los_Angeles"),
    *("Mexico_City", "Moncton", "Monterrey", "New_York", "Phoenix", "Regina", "St_Johns", "Tijuana"),
    *("Toronto", "Vancouver", "Winnipeg"),
)
_LETTER_ZONES = frozenset({"Pacific/Honolulu", *(f"America/{city}" for city in _LETTER_CITIES)})
"""Time zones of the United States, Canada and Mexico, where paper is Letter (common practice, no source)."""


@dataclass(frozen=True)
class PaperChoices:
    size: Paper
    sections: tuple[Section, ...]


def paper_choices_of(session: Session, day: FieldDay) -> PaperChoices:
    """What was last chosen; before that the paper of the field's time zone, and the sections that most use."""
    assert day.id is not None
    kept = paper_choices.of_day(session, day.id)
    if kept is None:
        return PaperChoices(_usual_size(day.time_zone), USUAL_SECTIONS)
    size: Paper = "letter" if kept.size == "letter" else "a4"
    return PaperChoices(size, tuple(one for one in SECTIONS if one in kept.sections.split()))


def keep(session: Session, day: FieldDay, size: str, sections: Sequence[str]) -> PaperChoices:
    """Keep a choice for the day. Raises InputError."""
    assert day.id is not None
    chosen = tuple(one for one in SECTIONS if one in sections)
    faults = {}
    if size not in get_args(Paper):
        faults["size"] = _("Choose A4 or Letter.")
    if not chosen:
        faults["sections"] = _("Choose at least one section of the heat sheet, such as By heat.")
    if faults:
        raise InputError(faults)
    paper_choices.keep(session, day.id, size, " ".join(chosen))
    return paper_choices_of(session, day)


def _usual_size(time_zone: str) -> Paper:
    is_letter = time_zone.startswith(_LETTER_PLACES) or time_zone in _LETTER_ZONES
    return "letter" if is_letter else "a4"
