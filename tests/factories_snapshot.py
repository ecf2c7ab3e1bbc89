"""Snapshots of plans in the shape in which they are stored, for tests of what only reads them."""

import json
from collections.abc import Sequence
from typing import Any

from sqlmodel import Session

from server.radio.channels import channel_named, labels_at, lookalikes
from server.storage import logbook, published_plans
from server.storage.tables import FieldDay, Pilot, PublishedPlan
from tests.factories import NOW

Place = tuple[Pilot, str | int]
"""A pilot and a channel by its label, or by its MHz where no label is given."""


def make_snapshot(day: FieldDay, heats: Sequence[Sequence[Place]], **values: Any) -> dict[str, Any]:
    """A plan of these heats. Its margins are made up, and the same in every slot.

    heats are flown in this order; `heats_a_round` (all of them by default) says when a new round begins.
    """
    heats_a_round = values.pop("heats_a_round", len(heats))
    number = values.get("number", 1)
    usual = {
        "schema": 1,
        "number": number,
        "replaces": number - 1 or None,
        "published_at": NOW.isoformat(),
        "published_by": "director",
        "model_version": "1",
        "day": {
            "code": day.code,
            "name": day.name,
            "date": day.date.isoformat(),
            "time_zone": day.time_zone,
            "aircraft": day.aircraft,
            "rounds": day.rounds,
            "heat_minutes": day.heat_minutes,
        },
        "status": "optimal",
        "worst_margin_db": 1.0,
        "stressed_margin_db": 0.4,
        "bound_db": 1.0,
        "gap_db": 0.0,
        "site_ceiling_db": 1.01,
        "common_power_mw": 25,
        "day_channels_mhz": sorted({_tuned(at)[1] for heat in heats for _, at in heat}),
        "retunes": 0,
        "repeat_pairings": 0,
        "heats_given": False,
        "flown_heats": 0,
        "down": [],
        "outside": [],
        "rules": {
            "name": "Club permit",
            "source": "invented",
            "year": 2026,
            "tag": "own",
            "conditions": "",
            "responsibility": None,
        },
        "spectrum": {
            "low_mhz": 5645,
            "high_mhz": 5945,
            "ranges_mhz": [[5650, 5925]],
            "occupied_mhz": 10,
            "window_mhz": 27,
        },
        "assumptions": [{"name": "near_m", "value": 8, "unit": "m", "source": "default"}],
        "warnings": [],
        "search_notes": [],
        "heats": [
            {
                "heat": index + 1,
                "round": index // heats_a_round + 1,
                "worst_margin_db": 1.0,
                "stressed_margin_db": 0.4,
                "site_ceiling_db": 1.01,
                "weakest_wanted_dbm": -72.0,
                "products": [],
                "proved": True,
                "slots": [make_slot(pilot, at) for pilot, at in heat],
            }
            for index, heat in enumerate(heats)
        ],
        "moves": [],
        "newcomers": [],
    }
    return usual | values


def make_slot(pilot: Pilot, at: str | int, power_mw: float = 25) -> dict[str, Any]:
    label, mhz = _tuned(at)
    return {
        "pilot_id": pilot.id,
        "callsign": pilot.callsign,
        "channel": label,
        "mhz": mhz,
        "power_mw": power_mw,
        "antenna": "rhcp",
        "margin_db": 1.0,
        "stressed_margin_db": 0.4,
        "picture_grade": 4.6,
        "grade_low": 4.1,
        "grade_high": 4.9,
        "grade_word": "clean",
        "link_margin_db": 13.9,
        "link_enough": True,
        "range_kept_m": 198,
        "range_threshold_m": 395,
        "overloaded": False,
        "limiting_cause": {"kind": "none", "share": 0.0, "by_pilot": [], "largest_term": None},
        "cause_words": "",
        "explanation": {"carriers": 0.0, "products": 0.0, "terms": [], "rest": {"count": 0, "share": 0.0}},
        "lookalikes": [{"channel": one.label, "mhz": one.mhz} for one in lookalikes(mhz)],
    }


def publish(
    session: Session, day: FieldDay, heats: Sequence[Sequence[Place]], **values: Any
) -> PublishedPlan:
    """Store a plan of these heats under the day's next number, with its row in the logbook."""
    assert day.id is not None
    before = published_plans.latest(session, day.id)
    snapshot = make_snapshot(day, heats, number=before.number + 1 if before else 1, **values)
    plan = published_plans.publish(session, day.id, json.dumps(snapshot), "1", NOW, "director")
    text = f"Published plan {plan.number}."
    logbook.append(session, day.id, "director", "plan published", text, {"number": plan.number}, NOW)
    return plan


def _tuned(at: str | int) -> tuple[str | None, int]:
    if isinstance(at, str):
        return at, channel_named(at).mhz
    return next(iter(labels_at(at)), None), at
