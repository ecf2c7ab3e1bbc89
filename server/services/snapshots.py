"""The snapshot of a plan: every fact that any page, sheet or file shows of it, as plain JSON values.

A draft's snapshot is composed anew after each edit and has no number. A published one is stored once, with
its number, and every page reads it as it is: nothing of it is computed again, even after the model improves.
"""

from dataclasses import asdict
from datetime import datetime
from itertools import combinations
from typing import Any

from server.allocator.power import hot_transmitters, levels_tried
from server.allocator.problem import DayProblem
from server.radio.grade import is_flyable
from server.radio.interference import site_ceiling_db
from server.radio.rules import WHO_DECIDES
from server.radio.version import MODEL_VERSION
from server.services import differences
from server.services.advice_words import heat_advice
from server.services.assumptions import assumed_gear, assumed_outside, assumptions_of
from server.services.days import rule_set_of
from server.services.drafts import DraftContent, as_day_plan
from server.services.gear import assumption_words
from server.services.heat_facts import heat_facts
from server.services.margin_words import least, rounded
from server.services.plan_basis import PlanBasis
from server.services.power_words import power_warnings
from server.services.slot_facts import slot_warnings
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import marked

SCHEMA = 1
CHANGED_BY_HAND = marked("Changed by hand since it was planned: nothing is proved of it.")

Snapshot = dict[str, Any]


def compose(day: FieldDay, content: DraftContent, basis: PlanBasis, before: Snapshot | None) -> Snapshot:
    """The snapshot of a draft, with the margins that its slots have now.

    before  the published plan that this one would replace; its heats that were flown stay as they were stored

    The margins of the plan are those of the heats ahead.
    Every pilot of the content has to be one who can fly (`plan_basis.without_absent`).
    """
    flown = before["heats"][: basis.flown] if before else []
    heats = [
        *flown,
        *(
            heat_facts(number, heat, basis)
            for number, heat in enumerate(content.heats, start=1)
            if number > len(flown)
        ),
    ]
    ahead = heats[len(flown) :] or heats
    planner = content.planner
    worst_margin_db = least(heat["worst_margin_db"] for heat in ahead)
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
        "stressed_margin_db": least(heat["stressed_margin_db"] for heat in ahead),
        "bound_db": rounded(planner.bound_db) if planner else None,
        "gap_db": rounded(planner.gap_db) if planner else None,
        "site_ceiling_db": _day_ceiling_db(content, basis.problem),
        "common_power_mw": content.common_power_mw,
        "heats_given": content.are_heats_given,
        "flown_heats": len(flown),
        "down": [asdict(one) for one in basis.down],
        "outside": outside_of(basis.problem),
        "day_channels_mhz": sorted({slot.mhz for _, slot in content.slots()}),
        "retunes": retunes(content),
        "repeat_pairings": repeat_pairings(content),
        "rules": _rules(day),
        "spectrum": spectrum_of(day, basis.problem),
        "assumptions": [
            *assumptions_of(day),
            *assumed_gear(basis.assumed),
            *assumed_outside(basis.problem.site),
        ],
        "search_notes": list(planner.search_notes) if planner else [_(CHANGED_BY_HAND)],
        "heats": heats,
    }
    snapshot["warnings"] = [*(planner.warnings if planner else ()), *_warnings(day, content, basis, snapshot)]
    snapshot["moves"] = differences.moves(before, snapshot) if before else []
    snapshot["newcomers"] = differences.newcomers(before, snapshot)
    return snapshot


def with_advice(snapshot: Snapshot, content: DraftContent, basis: PlanBasis) -> Snapshot:
    """The snapshot with what would help each slot most, which drafts work out only where somebody looks.

    Nothing is advised of heats that were flown, nor while a transmitter is down and still on.
    """
    heats = []
    for facts, heat in zip(snapshot["heats"], content.heats, strict=True):
        if facts["heat"] <= basis.flown or basis.down:
            heats.append(facts)
            continue
        advised = zip(facts["slots"], heat_advice(heat, basis), strict=True)
        heats.append({**facts, "slots": [{**slot, "advice": advice} for slot, advice in advised]})
    return {**snapshot, "heats": heats}


def published(snapshot: Snapshot, number: int, replaces: int | None, at: datetime, by: str) -> Snapshot:
    """The same facts under the number with which they go out."""
    return {
        **snapshot,
        "number": number,
        "replaces": replaces,
        "published_at": at.isoformat(timespec="seconds"),
        "published_by": by,
    }


def worst_span(snapshot: Snapshot) -> tuple[float, float] | None:
    """Grade of the worst picture with poorer and with better receivers than assumed; None before any heat."""
    flown = snapshot.get("flown_heats", 0)
    slots = [slot for heat in snapshot["heats"][flown:] or snapshot["heats"] for slot in heat["slots"]]
    if not slots:
        return None
    return min(slot["grade_low"] for slot in slots), min(slot["grade_high"] for slot in slots)


def retunes(content: DraftContent) -> int:
    """How often a pilot has to change channel during the day."""
    count, tuned = 0, dict[int, int]()
    for _number, slot in content.slots():
        count += tuned.get(slot.pilot_id, slot.mhz) != slot.mhz
        tuned[slot.pilot_id] = slot.mhz
    return count


def repeat_pairings(content: DraftContent) -> int:
    """How often pilots meet in the air again, over all pairs."""
    meetings: dict[tuple[int, int], int] = {}
    for heat in content.heats:
        for pair in combinations(sorted(slot.pilot_id for slot in heat.slots), 2):
            meetings[pair] = meetings.get(pair, 0) + 1
    return sum(times - 1 for times in meetings.values())


def _warnings(day: FieldDay, content: DraftContent, basis: PlanBasis, snapshot: Snapshot) -> list[str]:
    callsigns = {pilot_id: pilot.callsign for pilot_id, pilot in basis.pilots.items()}
    plan = as_day_plan(content, callsigns, snapshot)
    powers: list[str] = []
    if content.common_power_mw is not None and plan.heats:
        levels = levels_tried(basis.problem, plan.heats, content.common_power_mw)
        hot = hot_transmitters(basis.problem, plan.heats, content.common_power_mw)
        powers = power_warnings(levels, hot, basis.problem.site)
    unknown = [assumption_words(callsign, field, value) for callsign, field, value in basis.assumed]
    return [*powers, *slot_warnings(plan, basis.problem, rule_set_of(day)), *unknown]


def _status(content: DraftContent, worst_margin_db: float | None) -> str:
    if not is_flyable(worst_margin_db):
        return "unflyable"
    return content.planner.status if content.planner else "feasible"


def _day_ceiling_db(content: DraftContent, problem: DayProblem) -> float | None:
    largest = max((len(heat.slots) for heat in content.heats), default=0)
    return rounded(site_ceiling_db(largest, problem.site))


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


def outside_of(problem: DayProblem) -> list[dict[str, Any]]:
    """What else is on the air in every heat ahead: middle and width in MHz, level in dBm, the words for it."""
    return [
        {
            "centre_mhz": one.centre_mhz,
            "width_mhz": one.width_mhz,
            "level_dbm": round(one.level_dbm, 1),
            "words": one.words,
        }
        for one in problem.site.outside
    ]


def spectrum_of(day: FieldDay, problem: DayProblem) -> dict[str, Any]:
    """What a drawing of the spectrum needs besides the heats: its two ends, the rules' ranges, widths in MHz."""
    rule_set, receiver = rule_set_of(day), problem.site.receiver
    usable = sorted({mhz for pilot in problem.pilots for mhz in pilot.channels_mhz}) or [0]
    return {
        "low_mhz": usable[0],
        "high_mhz": usable[-1],
        "ranges_mhz": [[one.low_mhz, one.high_mhz] for one in rule_set.ranges] if rule_set else [],
        "occupied_mhz": receiver.occupied_mhz,
        "window_mhz": receiver.if_bandwidth_mhz,
    }
