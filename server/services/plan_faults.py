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
from server.storage.tables import FieldDay


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
    named = broken_rules(as_day_plan(content, callsigns, snapshot), problem, basis.flown)
    tunable = {f"Heat {heat}: {words}" for heat, words in _untunable_words(content, basis)}
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
        return ["Nobody flies in this draft: plan channels first."]
    return [
        f"Heat {number} has no pilots: add some or delete it."
        for number, heat in _ahead(content, flown)
        if not heat.slots
    ]


def _untunable_words(content: DraftContent, basis: PlanBasis) -> list[tuple[int, str]]:
    """As the planner's own check words it."""
    found = []
    for number, heat in _ahead(content, basis.flown):
        for slot in heat.slots:
            pilot = basis.pilots[slot.pilot_id]
            if slot.mhz not in pilot.channels_mhz:
                found.append((number, f"{pilot.callsign} cannot use {slot.mhz} MHz"))
    return found


def _untunable(content: DraftContent, basis: PlanBasis) -> list[str]:
    return [
        f"Heat {number}: {words} today, by gear, rules or bans. Choose another channel."
        for number, words in _untunable_words(content, basis)
    ]


def _outside_rules(day: FieldDay, content: DraftContent, basis: PlanBasis) -> list[str]:
    rule_set = rule_set_of(day)
    if rule_set is None or day.responsibility:
        return []
    found: dict[str, None] = {}
    for slot in (slot for _, heat in _ahead(content, basis.flown) for slot in heat.slots):
        pilot = basis.pilots[slot.pilot_id]
        radiated_mw = eirp_mw(slot.power_mw, pilot.gain_dbi)
        verdict = rules.judge(slot.mhz, radiated_mw, rule_set, tested_width_mhz(day))
        if not verdict.inside:
            found |= dict.fromkeys(f"{pilot.callsign}: {reason}" for reason in verdict.reasons)
    return list(found)


def _near_lost(content: DraftContent, basis: PlanBasis) -> list[str]:
    """Who would fly too close to a transmitter that is down and still on."""
    return [
        f"Heat {number}: {basis.pilots[slot.pilot_id].callsign} flies {abs(slot.mhz - one.mhz)} MHz from "
        f"{one.callsign}'s transmitter, which is down and still on"
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
        f"Heat {number}: {len(heat.slots)} fly at once, more than {problem.aircraft}"
        for number, heat in _ahead(content, flown)
        if len(heat.slots) > problem.aircraft
    ]


def _not_to_fly(snapshot: Snapshot, flown: int) -> list[str]:
    found = []
    for heat in snapshot["heats"][flown:]:
        bad = [one["callsign"] for one in heat["slots"] if one["picture_grade"] < LOWEST_FLYABLE_GRADE]
        if bad:
            found.append(
                f"Heat {heat['heat']}: below picture grade {LOWEST_FLYABLE_GRADE}, do not fly: {', '.join(bad)}"
            )
    return found


def _sentence(fault: str) -> str:
    return fault if fault.endswith(".") else f"{fault}."
