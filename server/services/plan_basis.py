"""What a plan of a day stands on: the pilots who can fly, the site, the rules, what was fixed by hand."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sqlmodel import Session

from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down
from server.services import down_transmitters, lineup, outside_signals
from server.services.days import settings_of
from server.services.drafts import DraftContent
from server.services.gear import VideoSetup
from server.storage import pilots
from server.storage.tables import FieldDay


@dataclass(frozen=True)
class PlanBasis:
    """The planner's question, and its pilots by the ids of the roster.

    assumed      what nobody at the desk knew: callsign, field of the video set-up, what is taken for it
    above_rules  steps of power in mW that the gear has and the day's rules do not allow, by callsign
    flown        so many heats have been flown and stay as they were published
    down         transmitters that are down and still on, heard in every heat ahead
    """

    problem: DayProblem
    pilots: Mapping[int, Pilot]
    assumed: tuple[tuple[str, str, str], ...] = ()
    above_rules: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    flown: int = 0
    down: tuple[Down, ...] = ()

    def ids(self) -> dict[str, int]:
        return {pilot.callsign: pilot_id for pilot_id, pilot in self.pilots.items()}


def day_problem(session: Session, day: FieldDay) -> DayProblem:
    """What the planner is asked about a day, without anything that the director fixed in a draft."""
    return basis_of(session, day, DraftContent()).problem


def basis_of(session: Session, day: FieldDay, content: DraftContent) -> PlanBasis:
    """The basis of a draft, whose pins and powers hold."""
    assert day.id is not None
    ids = {pilot.callsign: pilot.id for pilot in pilots.of_day(session, day.id)}
    grounded = down_transmitters.grounded(session, day)
    by_id = {}
    for pilot in lineup.problem_pilots(session, day):
        pilot_id = ids[pilot.callsign]
        assert pilot_id is not None
        if pilot_id not in grounded:
            by_id[pilot_id] = _as_fixed(pilot, pilot_id, content)
    settings = settings_of(day)
    problem = DayProblem(
        pilots=tuple(by_id.values()),
        site=outside_signals.site_on(session, day),
        bans_mhz=settings.bans,
        minimum_spacing_mhz=settings.minimum_spacing_mhz,
        aircraft=day.aircraft,
        rounds=day.rounds,
        rest_heats=settings.rest_heats,
        day_channels=settings.day_channels,
        common_power_mw=settings.common_power_mw,
    )
    setups = _setups(session, day, by_id)
    return PlanBasis(
        problem,
        by_id,
        _assumed(setups, by_id),
        _above_rules(setups, by_id),
        flown=day.flown_heats,
        down=down_transmitters.interferers(session, day),
    )


def with_heats(basis: PlanBasis, content: DraftContent) -> DayProblem:
    """The same question with the draft's heats given: who flies with whom stands, channels are free.

    Raises ProblemError for a heat of more pilots than can share the air.
    """
    heats = tuple(
        tuple(basis.pilots[slot.pilot_id].callsign for slot in heat.slots)
        for heat in content.heats
        if heat.slots
    )
    flying = content.pilot_ids()
    members = tuple(pilot for pilot_id, pilot in basis.pilots.items() if pilot_id in flying)
    return replace(basis.problem, pilots=members, heats_given=heats)


def without_absent(content: DraftContent, basis: PlanBasis) -> DraftContent:
    """The draft with the slots of those alone who can fly."""
    heats = tuple(
        replace(heat, slots=tuple(slot for slot in heat.slots if slot.pilot_id in basis.pilots))
        for heat in content.heats
    )
    if heats == content.heats:
        return content
    return replace(content, heats=heats, planner=None)


def _setups(session: Session, day: FieldDay, by_id: Mapping[int, Pilot]) -> dict[int, VideoSetup]:
    """The video set-up that each of the pilots flies with today, by pilot id."""
    assert day.id is not None
    aircraft = pilots.aircraft_of_day(session, day.id)
    found = {}
    for pilot in pilots.of_day(session, day.id):
        flying = lineup.flying_of(pilot, aircraft.get(pilot.id or 0, []))
        if flying and pilot.id is not None and pilot.id in by_id:
            found[pilot.id] = lineup.setup_of(flying)
    return found


def _assumed(
    setups: Mapping[int, VideoSetup], by_id: Mapping[int, Pilot]
) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (by_id[pilot_id].callsign, name, value)
        for pilot_id, setup in setups.items()
        for name, value in setup.assumed
    )


def _above_rules(
    setups: Mapping[int, VideoSetup], by_id: Mapping[int, Pilot]
) -> dict[str, tuple[float, ...]]:
    left_out = {
        by_id[pilot_id].callsign: tuple(
            step for step in setup.power_steps_mw if step not in by_id[pilot_id].power_steps_mw
        )
        for pilot_id, setup in setups.items()
    }
    return {callsign: steps for callsign, steps in left_out.items() if steps}


def _as_fixed(pilot: Pilot, pilot_id: int, content: DraftContent) -> Pilot:
    pin_mhz = content.pins.get(pilot_id)
    return replace(
        pilot,
        pin_mhz=pilot.pin_mhz if pin_mhz is None else (pin_mhz,),
        power_mw=content.powers.get(pilot_id, pilot.power_mw),
    )
