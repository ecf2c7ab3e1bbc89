"""What pages show of trouble: the director's desk, and a pilot's own report."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.services import trouble
from server.services.trouble import ReportView, told_words
from server.services.trouble_air import ALOFT, air_now, places_up
from server.services.trouble_words import ONSET_WORDS, SYMPTOM_WORDS
from server.storage import pilots
from server.storage import trouble_reports as stored
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import marked

Choice = tuple[str, str]


def symptom_choices() -> tuple[Choice, ...]:
    return tuple((key, _(words)) for key, words in SYMPTOM_WORDS.items())


def onset_choices() -> tuple[Choice, ...]:
    return (("", _("Not known")), *((key, _(words)) for key, words in ONSET_WORDS.items()))


IN_THE_AIR = marked("Fly on as you can, or land. Do not power off in the air.")
ON_THE_GROUND = marked("Stay on the ground, motors disarmed, and wait for the director.")


@dataclass(frozen=True)
class TroubleDesk:
    """The desk: open reports, who is on as called and so can report, by pilot id, and what was closed last."""

    order: int = field(compare=False)
    code: str
    time_zone: str
    reports: Sequence[ReportView]
    closed: Sequence[ReportView]
    flying: Sequence[Choice]


@dataclass(frozen=True)
class MyTrouble:
    """A pilot's own trouble.

    told    what was reported, empty where no report is open
    answer  what the director has answered, empty until then
    near    callsigns that can be named as near
    meanwhile  what to do until the director answers; empty once the pilot is through
    """

    told: str
    answer: str
    near: tuple[str, ...]
    meanwhile: str = ""
    symptoms: tuple[Choice, ...] = field(default_factory=symptom_choices)
    onsets: tuple[Choice, ...] = field(default_factory=onset_choices)

    @property
    def choices(self) -> list[Choice]:
        return [(name, name) for name in self.near]


def trouble_desk(session: Session, day: FieldDay) -> TroubleDesk:
    assert day.id is not None
    now = air_now(session, day)
    return TroubleDesk(
        order=Database.order(session, day.id),
        code=day.code,
        time_zone=day.time_zone,
        reports=trouble.open_reports(session, day, now.names.values()),
        closed=trouble.last_closed(session, day),
        flying=[(str(pilot_id), name) for pilot_id, name in now.names.items()],
    )


class TroubleNow:
    """One moment of the day's open reports, for the pages of its pilots."""

    def __init__(self, session: Session, day: FieldDay) -> None:
        assert day.id is not None
        self._open = {one.pilot_id: one for one in stored.still_open(session, day.id)}
        names = {pilot.id: pilot.callsign for pilot in pilots.of_day(session, day.id)}
        self._up = {pilot_id: names[pilot_id] for pilot_id in places_up(session, day)}
        self._aloft = set(places_up(session, day, ALOFT))

    def of(self, pilot_id: int) -> MyTrouble | None:
        """None for a pilot who is not up and has no report open."""
        row = self._open.get(pilot_id)
        if row is None and pilot_id not in self._up:
            return None
        near = tuple(name for other, name in self._up.items() if other != pilot_id)
        return MyTrouble(
            told_words(row) if row else "", row.answer if row else "", near, self._meanwhile(pilot_id)
        )

    def _meanwhile(self, pilot_id: int) -> str:
        if pilot_id in self._aloft:
            return _(IN_THE_AIR)
        return _(ON_THE_GROUND) if pilot_id in self._up else ""
