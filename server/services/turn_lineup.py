"""Open flying as the allocator sees it: the pilots with a turn, their gear, and what the day allows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlmodel import Session

from server.allocator.open_flying import Up
from server.allocator.problem import DayProblem
from server.allocator.problem import Pilot as PlannedPilot
from server.services import days, lineup, outside_signals
from server.services.gear import label_at
from server.services.video import ANALOGUE
from server.storage import pilots
from server.storage.tables import CHECKED_IN, DOWN, WAITING, Aircraft, FieldDay, Pilot, Turn
from server.wording import gettext as _


@dataclass(frozen=True)
class TurnLineup:
    """One moment of open flying.

    rows      pilots by id, everybody of the day
    planned   pilots with a turn by id, with the aircraft that flies; without channels where its video is not
              analogue
    gear      by pilot id, a mark that changes with the aircraft and its set-up
    pit_mw    by pilot id, what the transmitter may come up with in the pits
    """

    problem: DayProblem
    rows: Mapping[int, Pilot]
    planned: Mapping[int, PlannedPilot]
    gear: Mapping[int, str]
    pit_mw: Mapping[int, float]

    def up(self, turns: Iterable[Turn]) -> list[Up]:
        """Those of the turns that hold a place, in their order."""
        return [self.up_of(turn) for turn in turns if turn.stage != WAITING]

    def up_of(self, turn: Turn) -> Up:
        assert turn.mhz is not None
        assert turn.power_mw is not None
        return Up(self.planned[turn.pilot_id], turn.mhz, turn.power_mw, turn.stage == DOWN)

    def is_here(self, turn: Turn) -> bool:
        return self.rows[turn.pilot_id].state == CHECKED_IN

    def is_in_doubt(self, turn: Turn) -> bool:
        """Whether a place was given for other gear than flies now, or on a channel that is out of use since."""
        return turn.stage != WAITING and not (
            turn.gear == self.gear[turn.pilot_id]
            and turn.mhz in self.problem.choices_mhz(self.planned[turn.pilot_id])
        )

    def callsign(self, turn: Turn) -> str:
        return self.rows[turn.pilot_id].callsign

    def named(self, turn: Turn) -> str:
        """The channel as its pilot knows it: "R3 5732 MHz"."""
        assert turn.mhz is not None
        return _("%(value)s %(mhz)s MHz", value=self.label(turn) or "", mhz=turn.mhz).strip()

    def label(self, turn: Turn) -> str | None:
        assert turn.mhz is not None
        return label_at(turn.mhz, self.planned[turn.pilot_id].labels)


def turn_lineup(session: Session, day: FieldDay, turns: Iterable[Turn]) -> TurnLineup:
    """The pilots of these turns as they stand now."""
    return lineup_of_pilots(session, day, {turn.pilot_id for turn in turns})


def lineup_of_pilots(session: Session, day: FieldDay, pilot_ids: Collection[int]) -> TurnLineup:
    """These pilots as they stand now, whether they have a turn or not."""
    assert day.id is not None
    rows = {pilot.id or 0: pilot for pilot in pilots.of_day(session, day.id)}
    aircraft = pilots.aircraft_of_day(session, day.id)
    known = {pilot.callsign_key: pilot.callsign for pilot in rows.values()}
    published_mhz = lineup.published_channels(session, day)
    planned: dict[int, PlannedPilot] = {}
    gear: dict[int, str] = {}
    pit_mw: dict[int, float] = {}
    for pilot_id in set(pilot_ids):
        pilot = rows[pilot_id]
        flying = lineup.flying_of(pilot, aircraft.get(pilot_id, []))
        if flying is None or flying.video != ANALOGUE:
            planned[pilot_id] = PlannedPilot(pilot.callsign, ())
        else:
            planned[pilot_id] = lineup.planned_pilot(day, pilot, flying, known, published_mhz)
            pit_mw[pilot_id] = pit_power_mw(flying)
        gear[pilot_id] = lineup.gear_mark(flying)
    return TurnLineup(_problem(session, day), rows, planned, gear, pit_mw)


def _problem(session: Session, day: FieldDay) -> DayProblem:
    settings = days.settings_of(day)
    return DayProblem(
        (),
        outside_signals.site_on(session, day),
        bans_mhz=settings.bans,
        minimum_spacing_mhz=settings.minimum_spacing_mhz,
        aircraft=day.aircraft,
        day_channels=settings.day_channels,
        common_power_mw=settings.common_power_mw,
    )


def pit_power_mw(flying: Aircraft) -> float:
    """Without a pit mode the set's highest step: many come up at full power before they obey."""
    if flying.pit_power_mw is not None:
        return flying.pit_power_mw
    return max(lineup.setup_of(flying).power_steps_mw)
