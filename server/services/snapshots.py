"""The snapshot of a plan: every fact that any page, sheet or file shows of it, as plain JSON values.

A draft's snapshot is composed anew after each edit and has no number. A published one is stored once, with
its number, and every page reads it as it is: nothing of it is computed again, even after the model improves.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import combinations, pairwise
from typing import Any

from server.allocator.problem import DayProblem
from server.allocator.scoring import station
from server.radio.channels import lookalikes
from server.radio.grade import is_flyable
from server.radio.interference import SlotMargin, Station, heat_margins, site_ceiling_db
from server.radio.rules import WHO_DECIDES
from server.radio.site import Site
from server.radio.version import MODEL_VERSION
from server.services import differences
from server.services.assumptions import assumed_gear, assumptions_of
from server.services.cause_words import cause_words
from server.services.days import rule_set_of
from server.services.drafts import DraftContent, DraftHeat, as_day_plan
from server.services.gear import assumption_words, label_at
from server.services.plan_basis import PlanBasis
from server.services.slot_facts import slot_warnings
from server.storage.tables import FieldDay

SCHEMA = 1
CHANGED_BY_HAND = "Changed by hand since it was planned: nothing is proved of it."

Snapshot = dict[str, Any]


def compose(day: FieldDay, content: DraftContent, basis: PlanBasis, before: Snapshot | None) -> Snapshot:
    """The snapshot of a draft, with the margins that its slots have now.

    before  the published plan that this one would replace

    Every pilot of the content has to be one who can fly (`plan_basis.without_absent`).
    """
    heats = [_heat(number, heat, basis) for number, heat in enumerate(content.heats, start=1)]
    planner = content.planner
    worst_margin_db = least(heat["worst_margin_db"] for heat in heats)
    snapshot: Snapshot = {
        "schema": SCHEMA,
        "number": None,
        "replaces": before["number"] if before else None,
        "published_at": None,
        "published_by": None,
        "model_version": MODEL_VERSION,
        "day": _day(day),
        "status": _status(content, worst_margin_db),
        "worst_margin_db": worst_margin_db,
        "stressed_margin_db": least(heat["stressed_margin_db"] for heat in heats),
        "bound_db": rounded(planner.bound_db) if planner else None,
        "gap_db": rounded(planner.gap_db) if planner else None,
        "site_ceiling_db": _day_ceiling_db(content, basis.problem),
        "common_power_mw": content.common_power_mw,
        "heats_given": content.are_heats_given,
        "day_channels_mhz": sorted({slot.mhz for _, slot in content.slots()}),
        "retunes": retunes(content),
        "repeat_pairings": repeat_pairings(content),
        "rules": _rules(day),
        "assumptions": [*assumptions_of(day), *assumed_gear(basis.assumed)],
        "search_notes": list(planner.search_notes) if planner else [CHANGED_BY_HAND],
        "heats": heats,
    }
    snapshot["warnings"] = [*(planner.warnings if planner else ()), *_warnings(day, content, basis, snapshot)]
    snapshot["moves"] = differences.moves(before, snapshot) if before else []
    return snapshot


def published(snapshot: Snapshot, number: int, replaces: int | None, at: datetime, by: str) -> Snapshot:
    """The same facts under the number with which they go out."""
    return {
        **snapshot,
        "number": number,
        "replaces": replaces,
        "published_at": at.isoformat(timespec="seconds"),
        "published_by": by,
    }


def retunes(content: DraftContent) -> int:
    """How often a pilot has to change channel during the day."""
    return sum(
        earlier.mhz != later.mhz
        for pilot_id in content.pilot_ids()
        for (_, earlier), (_, later) in pairwise(content.slots_of(pilot_id))
    )


def repeat_pairings(content: DraftContent) -> int:
    """How often pilots meet in the air again, over all pairs."""
    meetings: dict[tuple[int, int], int] = {}
    for heat in content.heats:
        for pair in combinations(sorted(slot.pilot_id for slot in heat.slots), 2):
            meetings[pair] = meetings.get(pair, 0) + 1
    return sum(times - 1 for times in meetings.values())


def rounded(value: float | None) -> float | None:
    """dB to 0.01, never a negative zero."""
    return None if value is None else round(value, 2) + 0.0


def least(values: Iterable[float | None]) -> float | None:
    return min((value for value in values if value is not None), default=None)


def _warnings(day: FieldDay, content: DraftContent, basis: PlanBasis, snapshot: Snapshot) -> list[str]:
    callsigns = {pilot_id: pilot.callsign for pilot_id, pilot in basis.pilots.items()}
    plan = as_day_plan(content, callsigns, snapshot)
    unknown = [assumption_words(callsign, field, value) for callsign, field, value in basis.assumed]
    return [*slot_warnings(plan, basis.problem, rule_set_of(day)), *unknown]


def _status(content: DraftContent, worst_margin_db: float | None) -> str:
    if not is_flyable(worst_margin_db):
        return "unflyable"
    return content.planner.status if content.planner else "feasible"


def _day_ceiling_db(content: DraftContent, problem: DayProblem) -> float | None:
    largest = max((len(heat.slots) for heat in content.heats), default=0)
    return rounded(site_ceiling_db(largest, problem.site))


def _heat(number: int, heat: DraftHeat, basis: PlanBasis) -> dict[str, Any]:
    gear = [basis.pilots[slot.pilot_id] for slot in heat.slots]
    stations = [station(pilot, slot.mhz, slot.power_mw) for pilot, slot in zip(gear, heat.slots, strict=True)]
    computed = _computed(tuple(stations), basis.problem.site)
    return {
        "heat": number,
        "round": heat.round,
        **computed.of_heat,
        "proved": heat.is_proved,
        "slots": [
            {
                "pilot_id": slot.pilot_id,
                "callsign": pilot.callsign,
                "channel": label_at(slot.mhz, pilot.labels),
                "mhz": slot.mhz,
                "power_mw": slot.power_mw,
                "antenna": pilot.antenna,
                **facts,
                "lookalikes": [
                    {"channel": channel.label, "mhz": channel.mhz} for channel in lookalikes(slot.mhz)
                ],
            }
            for slot, pilot, facts in zip(heat.slots, gear, computed.of_slots, strict=True)
        ],
    }


@dataclass(frozen=True)
class _Computed:
    """What the radio model says of one heat and of its slots, in their order."""

    of_heat: dict[str, Any]
    of_slots: tuple[dict[str, Any], ...]


@lru_cache(maxsize=1024)
def _computed(stations: tuple[Station, ...], site: Site) -> _Computed:
    """Kept, since an edit changes one heat of many and every look at the page needs them all."""
    margins = heat_margins(stations, site)
    of_heat = {
        "worst_margin_db": rounded(margins.worst_margin_db),
        "stressed_margin_db": rounded(margins.stressed_margin_db),
        "site_ceiling_db": rounded(margins.site_ceiling_db),
    }
    return _Computed(of_heat, tuple(_margin_facts(slot) for slot in margins.slots))


def _margin_facts(slot: SlotMargin) -> dict[str, Any]:
    return {
        "margin_db": rounded(slot.margin_db),
        "stressed_margin_db": rounded(slot.stressed_margin_db),
        "picture_grade": slot.picture_grade,
        "grade_low": slot.grade_low,
        "grade_high": slot.grade_high,
        "grade_word": slot.grade_word,
        "link_margin_db": rounded(slot.link_margin_db),
        "link_enough": slot.is_link_enough,
        "range_kept_m": round(slot.range_kept_m),
        "range_threshold_m": round(slot.range_threshold_m),
        "overloaded": slot.is_overloaded,
        "limiting_cause": _cause(slot),
        "cause_words": cause_words(slot),
    }


def _cause(slot: SlotMargin) -> dict[str, Any]:
    cause, term = slot.limiting_cause, slot.limiting_cause.largest_term
    return {
        "kind": cause.kind,
        "share": round(cause.share, 3),
        "by_pilot": [{"callsign": one.callsign, "share": round(one.share, 3)} for one in cause.by_pilot],
        "largest_term": term
        and {
            "of": list(term.of),
            "at_mhz": term.at_mhz,
            "offset_mhz": term.offset_mhz,
            "margin_db": rounded(term.margin_db),
        },
    }


def _day(day: FieldDay) -> dict[str, Any]:
    return {
        "code": day.code,
        "name": day.name,
        "date": day.date.isoformat(),
        "time_zone": day.time_zone,
        "aircraft": day.aircraft,
        "rounds": day.rounds,
        "heat_minutes": day.heat_minutes,
    }


def _rules(day: FieldDay) -> dict[str, Any]:
    rule_set = rule_set_of(day)
    facts = {
        name: getattr(rule_set, name) if rule_set else None
        for name in ("name", "source", "year", "tag", "conditions")
    }
    return {**facts, "who_decides": WHO_DECIDES, "responsibility": day.responsibility}
