"""The spectrum of one heat on the channel plan: the drawing, and a pilot moved on trial step by step."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

from sqlmodel import Session

from server.services.plan_basis import PlanBasis, without_absent
from server.services.snapshots import Snapshot, outside_of, spectrum_of
from server.services.spectrum_chart import charts
from server.services.spectrum_shapes import Chart
from server.services.standings import DraftNow, open_draft, version_of
from server.services.trials import Trial, steps_mhz, trial
from server.storage.tables import FieldDay
from server.web.templating import Page

TrialAsked = tuple[int, int]
"""Pilot id and MHz."""


@dataclass(frozen=True)
class StepRow:
    """One pilot under the drawing; lower and higher in MHz, None at the end of the pilot's channels."""

    pilot_id: int
    callsign: str
    channel: str | None
    mhz: int
    margin_db: float | None
    grade: float
    grade_word: str
    change_db: float | None
    lower_mhz: int | None
    higher_mhz: int | None


@dataclass(frozen=True)
class Spectrum:
    """What `_spectrum.html` shows of a heat.

    charts  for wide places and for phones; none where a plan was stored without
    steps   pilot id to the outermost MHz of each mast that can be moved; empty in a published plan
    """

    heat: int
    charts: Sequence[Chart]
    rows: Sequence[StepRow]
    steps: Mapping[int, tuple[int, int]]
    trial: Trial | None
    version: int
    spacing_mhz: int


@dataclass(frozen=True)
class SpectrumFragment(Page):
    template: ClassVar[str] = "plan/_spectrum.html"
    day: FieldDay
    spectrum: Spectrum


def stored_spectrum(shown: Snapshot, number: int) -> Spectrum | None:
    """A heat of a published plan, as it was stored; None where it has no such heat."""
    heat = next((heat for heat in shown["heats"] if heat["heat"] == number), None)
    return Spectrum(number, charts(shown, heat), (), {}, None, 0, 0) if heat else None


def draft_spectrum(draft: DraftNow, shown: Snapshot, number: int) -> Spectrum | None:
    """A heat of what the channel plan shows, with masts that can be moved on trial."""
    heat = next((heat for heat in shown["heats"] if heat["heat"] == number), None)
    if heat is None or draft.content.heat(number) is None:
        return None
    if number <= draft.basis.flown:
        return stored_spectrum(shown, number)
    return _with_steps(shown, heat, draft.basis, draft.version, None)


def trial_spectrum(session: Session, day: FieldDay, number: int, asked: TrialAsked) -> Spectrum:
    """A heat of the draft with a pilot moved on trial. Raises InputError."""
    row, stored, basis = open_draft(session, day)
    tried = trial(without_absent(stored, basis), basis, number, *asked)
    frame = {
        "spectrum": spectrum_of(day, basis.problem),
        "down": [asdict(one) for one in basis.down],
        "outside": outside_of(basis.problem),
        "flown_heats": basis.flown,
    }
    # Back where the pilot was, nothing is on trial any more.
    return _with_steps(frame, tried.after, basis, version_of(row), tried if tried.was != tried.now else None)


def _with_steps(
    frame: Mapping[str, Any], heat: Mapping[str, Any], basis: PlanBasis, version: int, tried: Trial | None
) -> Spectrum:
    channels = {
        slot["pilot_id"]: steps_mhz(basis.pilots[slot["pilot_id"]], basis.problem)
        for slot in heat["slots"]
        if slot["pilot_id"] in basis.pilots
    }
    return Spectrum(
        heat=heat["heat"],
        charts=charts(frame, heat, tried.before if tried else None, is_steady=True),
        rows=[_row(slot, channels.get(slot["pilot_id"], ()), tried) for slot in heat["slots"]],
        steps={pilot_id: (own[0], own[-1]) for pilot_id, own in channels.items() if own},
        trial=tried,
        version=version,
        spacing_mhz=basis.problem.minimum_spacing_mhz,
    )


def _row(slot: Mapping[str, Any], channels: Sequence[int], tried: Trial | None) -> StepRow:
    mhz = slot["mhz"]
    return StepRow(
        pilot_id=slot["pilot_id"],
        callsign=slot["callsign"],
        channel=slot["channel"],
        mhz=mhz,
        margin_db=slot["margin_db"],
        grade=slot["picture_grade"],
        grade_word=slot["grade_word"],
        change_db=tried.changes_db[slot["pilot_id"]] if tried else None,
        lower_mhz=max((one for one in channels if one < mhz), default=None),
        higher_mhz=min((one for one in channels if one > mhz), default=None),
    )
