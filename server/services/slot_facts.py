"""The facts of every slot of a plan, computed once for reports in any form."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.problem import DayProblem
from server.allocator.scoring import station
from server.radio import rules
from server.radio.interference import HeatMargins, SlotMargin, heat_margins
from server.radio.rules import RuleSet
from server.services.gear import label_at
from server.services.usable import eirp_mw, rules_width_mhz
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import short_decimal


@dataclass(frozen=True)
class HeatFacts:
    """One heat with the margin of each of its slots, in the same order."""

    heat: Heat
    margins: HeatMargins

    def rows(self) -> Iterator[tuple[Slot, SlotMargin]]:
        return zip(self.heat.slots, self.margins.slots, strict=True)


def facts_of(plan: DayPlan, problem: DayProblem) -> tuple[HeatFacts, ...]:
    """Margins of every heat of a plan."""
    by_callsign = {pilot.callsign: pilot for pilot in problem.pilots}
    return tuple(
        HeatFacts(
            heat,
            heat_margins(
                [station(by_callsign[slot.callsign], slot.mhz, slot.power_mw) for slot in heat.slots],
                problem.site,
            ),
        )
        for heat in plan.heats
    )


def slot_warnings(plan: DayPlan, problem: DayProblem, rule_set: RuleSet | None) -> tuple[str, ...]:
    """What the rules chosen say of the slots of a plan, each sentence once; nothing without rules."""
    if rule_set is None:
        return ()
    receiver = problem.site.receiver
    pilots = {pilot.callsign: pilot for pilot in problem.pilots}
    width_mhz = rules_width_mhz(rule_set, receiver)
    found: list[str] = []
    wide: list[str] = []
    for slot in (slot for heat in plan.heats for slot in heat.slots):
        pilot = pilots[slot.callsign]
        verdict = rules.judge(slot.mhz, eirp_mw(slot.power_mw, pilot.gain_dbi), rule_set, width_mhz)
        found += [f"{slot.callsign}: {translated(text)}" for text in (*verdict.warnings, *verdict.reasons)]
        if verdict.is_plannable and not rules.allowed_mhz([slot.mhz], rule_set, receiver.necessary_mhz):
            wide.append(named(slot.mhz, pilot.labels))
    if wide:
        channels = ", ".join(sorted(set(wide)))
        text = _(
            "%(channels)s: the %(occupied_mhz)s MHz that hold 99 %% of the power lie within the rules "
            "chosen; the full width of %(necessary_mhz)s MHz reaches over an edge.",
            channels=channels,
            occupied_mhz=short_decimal(receiver.occupied_mhz),
            necessary_mhz=short_decimal(receiver.necessary_mhz),
        )
        found.append(text)
    return tuple(dict.fromkeys(found))


def named(mhz: int, labels: Mapping[int, str]) -> str:
    """A carrier as its pilot knows it: "R1 5658 MHz"."""
    return f"{label_at(mhz, labels) or ''} {mhz} MHz".strip()
