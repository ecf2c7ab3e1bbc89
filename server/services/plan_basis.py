"""What a plan of a day stands on: the pilots who can fly, the site, the rules, what was fixed by hand."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session

from server.allocator.problem import DayProblem, Pilot
from server.services import lineup
from server.services.days import settings_of
from server.services.drafts import DraftContent
from server.storage import pilots
from server.storage.tables import FieldDay


@dataclass(frozen=True)
class PlanBasis:
    """The planner's question, and its pilots by the ids of the roster.

    assumed  what nobody at the desk knew: callsign, field of the video set-up, what is taken for it
    """

    problem: DayProblem
    pilots: Mapping[int, Pilot]
    assumed: tuple[tuple[str, str, str], ...] = ()

    def ids(self) -> dict[str, int]:
        return {pilot.callsign: pilot_id for pilot_id, pilot in self.pilots.items()}


def day_problem(session: Session, day: FieldDay) -> DayProblem:
    """What the planner is asked about a day, without anything that the director fixed in a draft."""
    return basis_of(session, day, DraftContent()).problem


def basis_of(session: Session, day: FieldDay, content: DraftContent) -> PlanBasis:
    """The basis of a draft, whose pins and powers hold."""
    assert day.id is not None
    ids = {pilot.callsign: pilot.id for pilot in pilots.of_day(session, day.id)}
    by_id = {}
    for pilot in lineup.problem_pilots(session, day):
        pilot_id = ids[pilot.callsign]
        assert pilot_id is not None
        by_id[pilot_id] = _as_fixed(pilot, pilot_id, content)
    settings = settings_of(day)
    problem = DayProblem(
        pilots=tuple(by_id.values()),
        site=settings.site,
        bans_mhz=settings.bans,
        minimum_spacing_mhz=settings.minimum_spacing_mhz,
        aircraft=day.aircraft,
        rounds=day.rounds,
        rest_heats=settings.rest_heats,
        day_channels=settings.day_channels,
        common_power_mw=settings.common_power_mw,
    )
    return PlanBasis(problem, by_id, _assumed(session, day, by_id))


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


def _assumed(session: Session, day: FieldDay, by_id: Mapping[int, Pilot]) -> tuple[tuple[str, str, str], ...]:
    assert day.id is not None
    aircraft = pilots.aircraft_of_day(session, day.id)
    found = []
    for pilot in pilots.of_day(session, day.id):
        flying = lineup.flying_of(pilot, aircraft.get(pilot.id or 0, []))
        if flying and pilot.id in by_id:
            setup = lineup.setup_of(flying)
            found += [(pilot.callsign, field, value) for field, value in setup.assumed]
    return tuple(found)


def _as_fixed(pilot: Pilot, pilot_id: int, content: DraftContent) -> Pilot:
    pin_mhz = content.pins.get(pilot_id)
    return replace(
        pilot,
        pin_mhz=pilot.pin_mhz if pin_mhz is None else (pin_mhz,),
        power_mw=content.powers.get(pilot_id, pilot.power_mw),
    )
