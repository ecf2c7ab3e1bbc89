"""A result as one JSON object for other programs: fixed names and order, rounded, never NaN."""

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from server.allocator.plan import CompareRow, DayPlan
from server.radio.interference import LimitingCause, SlotMargin
from server.services.faults import Fault
from server.services.gear import label_at
from server.services.report_assumptions import Assumption
from server.services.slot_facts import HeatFacts

DB_DIGITS, GRADE_DIGITS, SHARE_DIGITS, SECONDS_DIGITS = 2, 1, 2, 2


def as_json(report: Mapping[str, Any]) -> str:
    """One line a report; refuses NaN and infinity, which are no JSON."""
    return json.dumps(report, ensure_ascii=False, allow_nan=False)


def plan_object(
    plan: DayPlan,
    facts: Sequence[HeatFacts],
    labels: Mapping[str, Mapping[int, str]],
    warnings: Iterable[str],
    assumptions: Iterable[Assumption],
) -> dict[str, Any]:
    """A plan, or why there is none.

    labels  each pilot's own names of channels, by callsign

    What the search does not prove stands among the warnings.
    """
    return {
        "status": plan.status,
        "worst_margin_db": rounded(plan.worst_margin_db, DB_DIGITS),
        "bound_db": rounded(plan.bound_db, DB_DIGITS),
        "gap_db": rounded(plan.gap_db, DB_DIGITS),
        "stressed_margin_db": rounded(plan.stressed_margin_db, DB_DIGITS),
        "site_ceiling_db": rounded(plan.site_ceiling_db, DB_DIGITS),
        "seconds": rounded(plan.seconds, SECONDS_DIGITS),
        "nodes": plan.nodes,
        "retunes": plan.retunes,
        "repeat_pairings": plan.repeat_pairings,
        "day_channels_mhz": list(plan.day_channels_mhz),
        "common_power_mw": _plain(plan.common_power_mw),
        "heats": [_heat_object(one, labels) for one in facts],
        "conflicts": [
            {"rules": list(one.rules), "explanation": one.explanation, "cures": list(one.cures)}
            for one in plan.conflicts
        ],
        "warnings": [*warnings, *plan.search_notes],
        "assumptions": assumption_objects(assumptions),
    }


def compare_object(
    rows: Iterable[CompareRow], warnings: Iterable[str], assumptions: Iterable[Assumption]
) -> dict[str, Any]:
    """How many can fly."""
    return {
        "compare": [
            {
                "aircraft": row.aircraft,
                "heats": row.heats,
                "worst_margin_db": rounded(row.worst_margin_db, DB_DIGITS),
                "bound_db": rounded(row.bound_db, DB_DIGITS),
                "worst_grade": rounded(row.worst_grade, GRADE_DIGITS),
                "minutes": _plain(rounded(row.minutes, 1)),
            }
            for row in rows
        ],
        "warnings": list(warnings),
        "assumptions": assumption_objects(assumptions),
    }


def faults_object(faults: Iterable[Fault]) -> dict[str, Any]:
    """Input that cannot be used."""
    return {"status": "bad_input", "faults": [fault.as_dict() for fault in faults]}


def margin_object(margin: SlotMargin) -> dict[str, Any]:
    """What the model says of one slot."""
    return {
        "margin_db": rounded(margin.margin_db, DB_DIGITS),
        "picture_grade": rounded(margin.picture_grade, GRADE_DIGITS),
        "link_margin_db": rounded(margin.link_margin_db, DB_DIGITS),
        "limiting_cause": _cause_object(margin.limiting_cause),
    }


def assumption_objects(assumptions: Iterable[Assumption]) -> list[dict[str, Any]]:
    return [
        {"name": one.name, "value": _plain(one.value), "unit": one.unit, "source": one.source}
        for one in assumptions
    ]


def rounded(number: float | None, digits: int) -> float | None:
    """A number for a report: None where there is none or it is not finite, never minus zero."""
    if number is None or not math.isfinite(number):
        return None
    return round(float(number), digits) + 0.0


def _heat_object(facts: HeatFacts, labels: Mapping[str, Mapping[int, str]]) -> dict[str, Any]:
    return {
        "heat": facts.heat.number,
        "round": facts.heat.round,
        "worst_margin_db": rounded(facts.heat.worst_margin_db, DB_DIGITS),
        "proved": facts.heat.proved,
        "slots": [
            {
                "callsign": slot.callsign,
                "channel": label_at(slot.mhz, labels.get(slot.callsign, {})),
                "mhz": slot.mhz,
                "power_mw": _plain(slot.power_mw),
                **margin_object(margin),
            }
            for slot, margin in facts.rows()
        ],
    }


def _cause_object(cause: LimitingCause) -> dict[str, Any]:
    term = cause.largest_term
    return {
        "kind": cause.kind,
        "share": rounded(cause.share, SHARE_DIGITS),
        "by_pilot": [
            {"callsign": one.callsign, "share": rounded(one.share, SHARE_DIGITS)} for one in cause.by_pilot
        ],
        "largest_term": term
        and {
            "of": list(term.of),
            "at_mhz": term.at_mhz,
            "offset_mhz": term.offset_mhz,
            "margin_db": rounded(term.margin_db, DB_DIGITS),
        },
    }


def _plain(value: Any) -> Any:
    """Whole numbers without a point: 25, not 25.0; two decimals otherwise."""
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if not isinstance(value, float):
        return value
    return int(value) if value.is_integer() else rounded(value, DB_DIGITS)
