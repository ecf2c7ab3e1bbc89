"""What the panel "The day changes" receives: what can be picked, and the rows of what was picked last."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.allocator.changes import ChangedDay, TradeOff
from server.services import day_changes, down_transmitters
from server.services.day_changes import Choice, Choices
from server.services.jobs import Jobs
from server.services.standings import Standing, day_id
from server.services.trade_offs import CHANGE, ChangeAnswer, is_current, row_words
from server.storage.tables import FieldDay
from server.wording import gettext as _


@dataclass(frozen=True)
class DownView:
    """A transmitter that is down and still on."""

    id: int
    callsign: str
    channel: str
    since: datetime


@dataclass(frozen=True)
class RowView:
    """One row of the trade-off; `words` say who joins and who moves, as sentences without their points."""

    moved: int
    worst_margin_db: float | None
    bound_db: float | None
    is_proved: bool
    words: Sequence[str]


@dataclass(frozen=True)
class RowsView:
    """What a change costs.

    job         number of the job that worked it out
    event       what happened, as a sentence
    undo        the form that takes it back, or empty
    is_current  the day is still the one that was asked about
    notes       what the rows do not say, in sentences
    joining     pilot ids to ask again with
    """

    job: int
    event: str
    undo: Mapping[str, str]
    is_current: bool
    rows: Sequence[RowView]
    notes: Sequence[str]
    joining: Sequence[int]


@dataclass(frozen=True)
class ChangesPanel:
    """The whole panel; None in place of it before a plan is published.

    next_heat  of the published plan; one more than it has when all are flown
    heats      choices of it
    """

    next_heat: int
    heats: Sequence[Choice]
    choices: Choices
    down: Sequence[DownView]
    result: RowsView | None


def changes_panel(session: Session, day: FieldDay, jobs: Jobs, now: Standing) -> ChangesPanel | None:
    if now.published is None:
        return None
    count = len(now.published["heats"])
    heats = [(str(number), _("Heat %(number)s", number=number)) for number in range(1, count + 1)]
    return ChangesPanel(
        next_heat=min(day.flown_heats, count) + 1,
        heats=[*heats, (str(count + 1), _("None: all are flown"))],
        choices=day_changes.choices(session, day, now.draft),
        down=[
            DownView(one.id or 0, one.callsign, f"{one.mhz} MHz", one.since)
            for one in down_transmitters.still_on(session, day)
        ],
        result=_result(day, jobs, now),
    )


def _result(day: FieldDay, jobs: Jobs, now: Standing) -> RowsView | None:
    job = jobs.latest(day_id(day), CHANGE)
    answer = job.result if job else None
    if job is None or not isinstance(answer, ChangeAnswer):
        return None
    question, changed = answer.question, answer.changed
    pilots = {pilot.callsign: pilot for pilot in question.rest.problem.pilots}
    return RowsView(
        job=job.number,
        event=question.event,
        undo=question.undo,
        is_current=is_current(question, now.draft),
        rows=[_row(row, row_words(row, pilots)) for row in changed.rows],
        notes=_notes(changed),
        joining=question.joining,
    )


def _row(row: TradeOff, words: Sequence[str]) -> RowView:
    return RowView(row.moved, row.worst_margin_db, row.bound_db, row.is_proved, words)


def _notes(changed: ChangedDay) -> list[str]:
    notes = [
        _(
            "%(callsign)s sits out: this gear has no channel left. Bring another aircraft, or lift what "
            "is in the way.",
            callsign=callsign,
        )
        for callsign in changed.left_out
    ]
    notes += [
        _(
            "%(callsign)s misses round %(number)s: it has begun, and no heat ahead in it has room.",
            callsign=callsign,
            number=number,
        )
        for callsign, number in changed.missed
    ]
    if changed.in_the_way:
        heats = ", ".join(str(number) for number in changed.in_the_way)
        notes.append(
            _(
                "No channels keep the spacing in heat %(heats)s, however many move. Take somebody out of it, "
                "or lift a pin or a ban.",
                heats=heats,
            )
        )
    elif not changed.rows and not changed.left_out:
        notes.append(_("No way was found that keeps every rule. Move pilots by hand below."))
    if changed.rows and changed.is_end:
        notes.append(_("More moves would help no more."))
    elif changed.rows:
        notes.append(_("More moves were tried and did not help by a tenth of a dB, or would be a new plan."))
    return notes
