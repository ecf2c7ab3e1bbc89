"""A draft's content: who flies in which heat, on which channel and power, and what was fixed by hand.

Everything computed from it (margins, grades, causes) is kept beside it in the shape of a snapshot. Contents
are values: an edit makes a new one, and undo brings an old one back.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from server.allocator.plan import DayPlan, Heat, Slot
from server.wording import ngettext


@dataclass(frozen=True)
class DraftSlot:
    pilot_id: int
    mhz: int
    power_mw: float


@dataclass(frozen=True)
class DraftHeat:
    """A heat; its number is its place in the day, counted from 1.

    is_proved  the planner chose the channels and nobody touched them since
    """

    round: int
    slots: tuple[DraftSlot, ...] = ()
    is_proved: bool = False

    def slot_of(self, pilot_id: int) -> DraftSlot | None:
        return next((slot for slot in self.slots if slot.pilot_id == pilot_id), None)


@dataclass(frozen=True)
class PlannerFacts:
    """What only the planner knows of a plan; gone with the first edit by hand.

    cures  what would mend a plan that nobody should fly, the best first
    """

    status: str
    bound_db: float | None
    gap_db: float | None
    nodes: int
    seconds: float
    warnings: tuple[str, ...] = ()
    search_notes: tuple[str, ...] = ()
    cures: tuple[str, ...] = ()


@dataclass(frozen=True)
class DraftContent:
    """A whole draft.

    pins             pilot id to the frequency that the director fixed, kept by later planning
    powers           pilot id to the power in mW that the director set, kept likewise
    are_heats_given  the director said who flies with whom: not everybody has to fly in every round
    retunes          changes of channel between heats that the planner found worth it; edits by hand add none
    """

    heats: tuple[DraftHeat, ...] = ()
    pins: Mapping[int, int] = field(default_factory=dict)
    powers: Mapping[int, float] = field(default_factory=dict)
    common_power_mw: float | None = None
    are_heats_given: bool = False
    retunes: int = 0
    planner: PlannerFacts | None = None

    def heat(self, number: int) -> DraftHeat | None:
        return self.heats[number - 1] if 1 <= number <= len(self.heats) else None

    def with_heat(self, number: int, heat: DraftHeat) -> "DraftContent":
        return replace(self, heats=(*self.heats[: number - 1], heat, *self.heats[number:]))

    def slots(self) -> Iterator[tuple[int, DraftSlot]]:
        """Every slot with its heat's number."""
        for number, heat in enumerate(self.heats, start=1):
            for slot in heat.slots:
                yield number, slot

    def slots_of(self, pilot_id: int) -> list[tuple[int, DraftSlot]]:
        return [(number, slot) for number, slot in self.slots() if slot.pilot_id == pilot_id]

    def pilot_ids(self) -> set[int]:
        return {slot.pilot_id for _, slot in self.slots()}


def from_plan(
    plan: DayPlan, ids: Mapping[str, int], before: DraftContent, are_heats_given: bool = False
) -> DraftContent:
    """The planner's answer as a draft; what the director fixed by hand stays fixed.

    ids  pilot id by callsign
    """
    heats = tuple(
        DraftHeat(
            heat.round,
            tuple(DraftSlot(ids[slot.callsign], slot.mhz, slot.power_mw) for slot in heat.slots),
            heat.proved,
        )
        for heat in plan.heats
    )
    facts = PlannerFacts(
        plan.status,
        plan.bound_db,
        plan.gap_db,
        plan.nodes,
        plan.seconds,
        plan.warnings,
        plan.search_notes,
        tuple(cure for conflict in plan.conflicts for cure in conflict.cures),
    )
    return replace(
        before,
        heats=heats,
        common_power_mw=plan.common_power_mw,
        are_heats_given=are_heats_given,
        retunes=plan.retunes,
        planner=facts,
    )


def as_day_plan(content: DraftContent, callsigns: Mapping[int, str], snapshot: Mapping[str, Any]) -> DayPlan:
    """The draft as the planner's checks read it, with the margins of its snapshot."""
    heats = tuple(
        Heat(
            number,
            heat.round,
            tuple(Slot(callsigns[slot.pilot_id], slot.mhz, slot.power_mw) for slot in heat.slots),
            facts["worst_margin_db"],
            facts["stressed_margin_db"],
            heat.is_proved,
        )
        for number, (heat, facts) in enumerate(zip(content.heats, snapshot["heats"], strict=True), start=1)
    )
    return DayPlan("feasible", heats, snapshot["worst_margin_db"], retunes=content.retunes)


def from_snapshot(snapshot: Mapping[str, Any], before: DraftContent) -> DraftContent:
    """The slots of a published plan, to go on from; pins and powers of the present draft stay."""
    return replace(
        before,
        heats=_heats_of(snapshot),
        common_power_mw=snapshot["common_power_mw"],
        are_heats_given=snapshot["heats_given"],
        retunes=snapshot["retunes"],
        planner=None,
    )


def with_flown(content: DraftContent, snapshot: Mapping[str, Any] | None, flown: int) -> DraftContent:
    """The draft with its first heats as they were published and flown: history, whatever the draft says."""
    if not flown or snapshot is None:
        return content
    heats = (*_heats_of(snapshot)[:flown], *content.heats[flown:])
    return content if heats == content.heats else replace(content, heats=heats)


def _heats_of(snapshot: Mapping[str, Any]) -> tuple[DraftHeat, ...]:
    return tuple(
        DraftHeat(
            heat["round"],
            tuple(DraftSlot(slot["pilot_id"], slot["mhz"], slot["power_mw"]) for slot in heat["slots"]),
            heat["proved"],
        )
        for heat in snapshot["heats"]
    )


def as_json(content: DraftContent) -> str:
    return json.dumps(asdict(content), ensure_ascii=False, allow_nan=False)


def from_json(text: str) -> DraftContent:
    kept = json.loads(text)
    planner = kept.get("planner")
    return DraftContent(
        heats=tuple(
            DraftHeat(heat["round"], tuple(DraftSlot(**slot) for slot in heat["slots"]), heat["is_proved"])
            for heat in kept["heats"]
        ),
        # JSON knows only text as keys.
        pins={int(pilot_id): mhz for pilot_id, mhz in kept.get("pins", {}).items()},
        powers={int(pilot_id): power_mw for pilot_id, power_mw in kept.get("powers", {}).items()},
        common_power_mw=kept.get("common_power_mw"),
        are_heats_given=kept.get("are_heats_given", False),
        retunes=kept.get("retunes", 0),
        planner=planner
        and PlannerFacts(
            **{
                **planner,
                "warnings": tuple(planner["warnings"]),
                "search_notes": tuple(planner["search_notes"]),
                "cures": tuple(planner["cures"]),
            }
        ),
    )


def size_words(pilots: int, heats: int) -> str:
    """How large a plan is: "12 pilots in 3 heats"."""
    people = ngettext("%(number)s pilot", "%(number)s pilots", pilots)
    return ngettext("%(pilots)s in %(number)s heat", "%(pilots)s in %(number)s heats", heats, pilots=people)
