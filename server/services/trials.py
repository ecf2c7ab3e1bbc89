"""What if this one moved: a pilot of a draft on another channel, measured and not kept."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, margins_db
from server.services.drafts import DraftContent, DraftHeat
from server.services.edits import channel_words
from server.services.errors import InputError
from server.services.heat_facts import heat_facts
from server.services.margin_words import least, rounded
from server.services.plan_basis import PlanBasis
from server.wording import gettext as _


@dataclass(frozen=True)
class Trial:
    """One heat with one pilot moved.

    was, now            the channel in words
    before, after       the heat as it is and as it would be, in the shape of a snapshot's heat
    changes_db          by pilot id, what it does to the margin; None where somebody flies alone
    worst_change_db     what it does to the heat's worst margin
    elsewhere           numbers of the pilot's other heats ahead, which move along, and the worst margin in them
    too_close           callsigns nearer than the day's minimum spacing, with the distance in MHz
    """

    pilot_id: int
    callsign: str
    mhz: int
    was: str
    now: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    changes_db: Mapping[int, float | None]
    worst_change_db: float | None
    elsewhere: tuple[int, ...]
    elsewhere_worst_db: float | None
    too_close: tuple[tuple[str, int], ...]


def trial(content: DraftContent, basis: PlanBasis, number: int, pilot_id: int, mhz: int) -> Trial:
    """A pilot of a heat on another channel, in this heat and all others. Raises InputError."""
    heat = content.heat(number)
    slot = heat.slot_of(pilot_id) if heat else None
    if heat is None or slot is None:
        raise InputError(
            {"pilot": _("This pilot does not fly in heat %(number)s. Look at the plan again.", number=number)}
        )
    if number <= basis.flown:
        raise InputError(
            {
                "heat": _(
                    "Heat %(number)s has been flown and stays as published. Try a heat ahead.", number=number
                )
            }
        )
    pilot = basis.pilots[pilot_id]
    if mhz not in steps_mhz(pilot, basis.problem):
        raise InputError(
            {
                "mhz": _(
                    "%(callsign)s cannot use %(mhz)s MHz today. Step through the channels shown.",
                    callsign=pilot.callsign,
                    mhz=mhz,
                )
            }
        )
    before, after = heat_facts(number, heat, basis), heat_facts(number, _moved(heat, pilot_id, mhz), basis)
    others = [one for one, _ in content.slots_of(pilot_id) if one != number and one > basis.flown]
    worst = [_worst_db(one, _moved(content.heats[one - 1], pilot_id, mhz), basis) for one in others]
    return Trial(
        pilot_id=pilot_id,
        callsign=pilot.callsign,
        mhz=mhz,
        was=channel_words(pilot, slot.mhz),
        now=channel_words(pilot, mhz),
        before=before,
        after=after,
        changes_db={
            one["pilot_id"]: _change(was["margin_db"], one["margin_db"])
            for was, one in zip(before["slots"], after["slots"], strict=True)
        },
        worst_change_db=_change(before["worst_margin_db"], after["worst_margin_db"]),
        elsewhere=tuple(others),
        elsewhere_worst_db=rounded(least(worst)),
        too_close=_too_close(heat, basis, pilot_id, mhz),
    )


def steps_mhz(pilot: Pilot, problem: DayProblem) -> tuple[int, ...]:
    """The channels that a pilot can be stepped through, from the lowest: what the gear has and nobody banned."""
    return tuple(mhz for mhz in sorted(pilot.channels_mhz) if mhz not in problem.bans_mhz)


def _moved(heat: DraftHeat, pilot_id: int, mhz: int) -> DraftHeat:
    slots = (replace(slot, mhz=mhz) if slot.pilot_id == pilot_id else slot for slot in heat.slots)
    return replace(heat, slots=tuple(slots), is_proved=False)


def _worst_db(number: int, heat: DraftHeat, basis: PlanBasis) -> float | None:
    """Worst margin of a heat of which nothing else is asked: quicker than all its facts."""
    if basis.down:
        # The kernel knows no transmitter with which nobody flies.
        return heat_facts(number, heat, basis)["worst_margin_db"]
    pilots = tuple(basis.pilots[slot.pilot_id] for slot in heat.slots)
    gear = day_gear(basis.problem.with_pilots(pilots), [slot.power_mw for slot in heat.slots])
    return float(margins_db(gear, range(len(pilots)), [slot.mhz for slot in heat.slots])[0].min())


def _change(before_db: float | None, after_db: float | None) -> float | None:
    return None if before_db is None or after_db is None else after_db - before_db


def _too_close(heat: DraftHeat, basis: PlanBasis, pilot_id: int, mhz: int) -> tuple[tuple[str, int], ...]:
    apart = [
        (basis.pilots[slot.pilot_id].callsign, abs(slot.mhz - mhz))
        for slot in heat.slots
        if slot.pilot_id != pilot_id
    ]
    return tuple(one for one in apart if one[1] < basis.problem.minimum_spacing_mhz)
