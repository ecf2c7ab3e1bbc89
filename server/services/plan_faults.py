"""What stands against publishing a draft: what no hand may override, and what the director may answer for."""

from dataclasses import dataclass
from itertools import chain

from server.allocator.checks import broken_rules
from server.allocator.problem import DayProblem
from server.radio import rules
from server.radio.grade import LOWEST_FLYABLE_GRADE
from server.services.days import rule_set_of, tested_width_mhz
from server.services.drafts import DraftContent, DraftHeat, as_day_plan
from server.services.plan_basis import PlanBasis, with_heats
from server.services.snapshots import Snapshot
from server.services.usable import eirp_mw
from server.services.words_below import translated
from server.storage.tables import FieldDay
from server.wording import decimal
from server.wording import gettext as _


@dataclass(frozen=True)
class Faults:
    """Sentences.

    forbidden  the gear cannot do it or the rules chosen do not hold it: to be mended
    broken     a rule of the day or of good flying; published only when the director says so
    """

    forbidden: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()


def faults(day: FieldDay, content: DraftContent, basis: PlanBasis, snapshot: Snapshot) -> Faults:
    """Everything that stands against publishing this draft; both lists are empty for a sound plan."""
    forbidden = [
        *_empty(content, basis.flown),
        *_untunable(content, basis),
        *_outside_rules(day, content, basis),
    ]
    problem = with_heats(basis, content) if content.are_heats_given else basis.problem
    callsigns = {pilot_id: pilot.callsign for pilot_id, pilot in basis.pilots.items()}
    tunable = {
        _("Heat %(number)s: %(callsign)s cannot use %(mhz)s MHz", number=number, callsign=callsign, mhz=mhz)
        for number, callsign, mhz in _off_their_gear(content, basis)
    }
    named = broken_rules(as_day_plan(content, callsigns, snapshot), problem, basis.flown)
    broken = [fault for fault in named if fault not in tunable]
    return Faults(
        tuple(forbidden),
        tuple(
            _sentence(fault)
            for fault in chain(
                broken,
                _near_lost(content, basis),
                _crowded(content, problem, basis.flown),
                _not_to_fly(snapshot, basis.flown),
            )
        ),
    )


def _ahead(content: DraftContent, flown: int) -> list[tuple[int, DraftHeat]]:
    """Heats that can still be mended, each with its number."""
    return [(number, heat) for number, heat in enumerate(content.heats, start=1) if number > flown]


def _empty(content: DraftContent, flown: int) -> list[str]:
    if not content.pilot_ids():
        return [_("Nobody flies in this draft: plan channels first.")]
    return [
        _("Heat %(number)s has no pilots: add some or delete it.", number=number)
        for number, heat in _ahead(content, flown)
        if not heat.slots
    ]


def _off_their_gear(content: DraftContent, basis: PlanBasis) -> list[tuple[int, str, int]]:
    """Heat, callsign and MHz of whoever cannot have that channel today."""
    return [
        (number, basis.pilots[slot.pilot_id].callsign, slot.mhz)
        for number, heat in _ahead(content, basis.flown)
        for slot in heat.slots
        if slot.mhz not in basis.pilots[slot.pilot_id].channels_mhz
    ]


def _untunable(content: DraftContent, basis: PlanBasis) -> list[str]:
    return [
        _(
            "Heat %(number)s: %(callsign)s cannot use %(mhz)s MHz today, by gear, rules or bans. Choose another "
            "channel.",
            number=number,
            callsign=callsign,
            mhz=mhz,
        )
        for number, callsign, mhz in _off_their_gear(content, basis)
    ]


def _outside_rules(day: FieldDay, content: DraftContent, basis: PlanBasis) -> list[str]:
    rule_set = rule_set_of(day)
    if rule_set is None or day.responsibility:
        return []
    found: dict[str, None] = {}
    for slot in (slot for ahead in _ahead(content, basis.flown) for slot in ahead[1].slots):
        pilot = basis.pilots[slot.pilot_id]
        radiated_mw = eirp_mw(slot.power_mw, pilot.gain_dbi)
        verdict = rules.judge(slot.mhz, radiated_mw, rule_set, tested_width_mhz(day))
        if not verdict.inside:
            found |= dict.fromkeys(f"{pilot.callsign}: {translated(reason)}" for reason in verdict.reasons)
    return list(found)


def _near_lost(content: DraftContent, basis: PlanBasis) -> list[str]:
    """Who would fly too close to a transmitter that is down and still on."""
    return [
        _(
            "Heat %(number)s: %(callsign)s flies %(mhz)s MHz from %(lost)s's transmitter, "
            "which is down and still on",
            number=number,
            callsign=basis.pilots[slot.pilot_id].callsign,
            mhz=abs(slot.mhz - one.mhz),
            lost=one.callsign,
        )
        for number, heat in _ahead(content, basis.flown)
        for slot in heat.slots
        for one in basis.down
        if abs(slot.mhz - one.mhz) < basis.problem.minimum_spacing_mhz
    ]


def _crowded(content: DraftContent, problem: DayProblem, flown: int) -> list[str]:
    """The planner's check leaves the size of given heats to the director, so it is named here."""
    if problem.heats_given is None:
        return []
    return [
        _(
            "Heat %(heat)s: %(number)s fly at once, more than %(aircraft)s",
            heat=number,
            number=len(heat.slots),
            aircraft=problem.aircraft,
        )
        for number, heat in _ahead(content, flown)
        if len(heat.slots) > problem.aircraft
    ]


def _not_to_fly(snapshot: Snapshot, flown: int) -> list[str]:
    found = []
    for heat in snapshot["heats"][flown:]:
        bad = [one["callsign"] for one in heat["slots"] if one["picture_grade"] < LOWEST_FLYABLE_GRADE]
        if bad:
            text = _(
                "Heat %(heat)s: below picture grade %(lowest)s, do not fly: %(callsigns)s",
                heat=heat["heat"],
                lowest=decimal(LOWEST_FLYABLE_GRADE, 1),
                callsigns=", ".join(bad),
            )
            found.append(text)
    return found


def _sentence(fault: str) -> str:
    return fault if fault.endswith(".") else f"{fault}."
